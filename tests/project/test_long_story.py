"""The whole story of a parcel, on a service with worker and beat, and on the embedded server by itself."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from pytest_django import DjangoDbBlocker

from exchange.benchmarks.servers import free_port
from exchange.models import DueTask
from growers import clock as project_clock
from growers.services.reference import reference_load
from tests.clock import MovableClock
from tests.served.long_story import LongStory
from tests.served.process import answers, running, served, wait_until
from tests.served.service import emptied, service

NOBODY = 10**9
MARK = (
    "INSERT INTO exchange_duetask (kind, subject_id, due_at, revision, attempts, last_error)"
    " VALUES ('mail', ?, ?, 1, 0, '')"
)


def twice(mark: Callable[[], object], is_left: Callable[[], object]) -> Callable[[], None]:
    """Waits for two looks at what is due: one may have begun before the clock was moved."""

    def swept() -> None:
        for _ in range(2):
            mark()
            wait_until(lambda: not is_left(), "a look at what is due")

    return swept


def private(folder: Path) -> Path:
    folder.mkdir(mode=0o700)
    return folder


def test_it_is_told_by_the_embedded_server_alone(
    tmp_path: Path, clock: MovableClock, django_db_blocker: DjangoDbBlocker
) -> None:
    data, place = private(tmp_path / "data"), f"127.0.0.1:{free_port()}"
    variables = {"DATA_DIR": str(data), "DATABASE_URL": "", "PUBLIC_ADDRESS": f"http://{place}"}
    options = ["-m", "tests.served.hurried_run", "--address", place]

    def ask(statement: str, *values: object) -> list[tuple[object, ...]]:
        (path,) = data.glob("*.sqlite3")
        with closing(sqlite3.connect(path, timeout=20.0)) as connection:
            found = connection.execute(statement, values).fetchall()
            connection.commit()
        return found

    swept = twice(
        lambda: ask(MARK, NOBODY, project_clock.now().isoformat(sep=" ")[:19]),
        lambda: ask("SELECT 1 FROM exchange_duetask WHERE subject_id = ?", NOBODY),
    )
    with (
        django_db_blocker.unblock(),
        running(options, lambda _: answers(f"http://{place}/health/live"), **variables),
    ):
        LongStory(f"http://{place}", clock, data / "mail", swept).tell()


def test_it_is_told_by_a_service_with_worker_and_beat(
    tmp_path: Path, clock: MovableClock, django_db_blocker: DjangoDbBlocker
) -> None:
    data = private(tmp_path / "data")
    marks = DueTask.objects.filter(subject_id=NOBODY)
    swept = twice(
        lambda: DueTask.objects.create(kind="mail", subject_id=NOBODY, due_at=project_clock.now()),
        lambda: marks.all().exists(),
    )
    with django_db_blocker.unblock(), service() as servers, emptied():
        reference_load()
        servers.variables["DATA_DIR"] = str(data)
        with (
            served(processes=1, threads=4, **servers.variables) as server,
            servers.worker(),
            servers.beat(),
        ):
            LongStory(server.address, clock, data / "mail", swept).tell()
