"""``manage.py run``: a real process on a file of its own that serves and does what is due by itself."""

import json
import sqlite3
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from pytest_django import DjangoDbBlocker

from exchange.benchmarks.servers import free_port
from tests.architecture.tree import ROOT
from tests.served.process import Process, wait_until

TASK = (
    "INSERT INTO exchange_duetask (kind, subject_id, due_at, revision, attempts, last_error)"
    " VALUES (?, ?, ?, 1, 0, '')"
)


@contextmanager
def running(folder: Path) -> Iterator[tuple[Process, str]]:
    """The embedded server in a folder, answering."""
    port = free_port()
    variables = {"DATA_DIR": str(folder), "DATABASE_URL": "", "CLOCK_OFFSET_FILE": ""}
    process = Process([str(ROOT / "manage.py"), "run", "--address", f"127.0.0.1:{port}"], **variables)
    try:
        wait_until(
            lambda: answers(f"http://127.0.0.1:{port}/api/v1/problems"),
            f"an answer; it said {process.said()}",
        )
        yield process, f"http://127.0.0.1:{port}"
    finally:
        process.kill()


def answers(address: str) -> Any:
    try:
        with urllib.request.urlopen(address, timeout=5) as response:
            return json.loads(response.read() or b"{}") is not None
    except (OSError, ValueError):
        return False


def database(folder: Path) -> sqlite3.Connection:
    (path,) = folder.glob("*.sqlite3")
    return sqlite3.connect(path, timeout=20.0)


def left(folder: Path) -> list[tuple[str, int]]:
    with closing(database(folder)) as connection:
        return list(connection.execute("SELECT kind, attempts FROM exchange_duetask ORDER BY id"))


def test_it_serves_and_does_what_is_due_by_itself_and_again_after_a_kill(
    tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> None:
    folder = tmp_path / "data"
    folder.mkdir(mode=0o700)
    with django_db_blocker.unblock():
        with running(folder) as (_, address):
            assert answers(f"{address}/api/v1/problems")
        with closing(database(folder)) as connection:
            # Nobody has this subject: the work fails, and that it was tried is what shows the thread.
            connection.execute(TASK, ("agreement_lapse", 999, "2026-01-01 00:00:00"))
            connection.commit()
        with running(folder):
            wait_until(lambda: ("agreement_lapse", 1) in left(folder), "the first attempt")
        assert ("agreement_lapse", 1) in left(folder)


def test_a_service_is_told_to_run_its_own_way(settings: Any) -> None:
    settings.SERVICE_MODE = True
    with pytest.raises(CommandError, match="A service has gunicorn, Celery workers and beat"):
        call_command("run")
