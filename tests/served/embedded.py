"""The embedded server beside a test: ``manage.py run`` on a file that the test reads and writes too."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.management import call_command

from exchange.benchmarks.servers import free_port
from tests.architecture.tree import ROOT
from tests.exchange.receiver import Receiver
from tests.served.process import Process, answers, running, wait_until
from tests.served.service import default_database
from tests.served.work import all_delivered

FILE = "exchange.sqlite3"
KEYS = ("address_keys", "secret_key")
ENDLESS = (
    "CREATE VIEW endless AS WITH RECURSIVE line(number) AS (SELECT 1 UNION ALL SELECT 1 FROM line)"
    " SELECT number FROM line"
)


def folder_make(folder: Path) -> None:
    """A folder with the keys of the test and an empty database; the first start loads the reference."""
    folder.mkdir(mode=0o700)
    for name in KEYS:
        shutil.copy(settings.DATA_DIR / name, folder / name)
    with opened(folder):
        call_command("migrate", verbosity=0)


def opened(folder: Path) -> AbstractContextManager[None]:
    """The file of a folder is the test's default database while the block runs."""
    return default_database({**settings.SQLITE, "NAME": str(folder / FILE)})


def copied(folder: Path, to: Path) -> Path:
    """The same folder in another place."""
    return shutil.copytree(folder, to / "data")


@contextmanager
def embedded(folder: Path, **variables: str) -> Iterator[Process]:
    """The embedded server in a folder, from when it answers."""
    place = f"127.0.0.1:{free_port()}"
    arguments = [str(ROOT / "manage.py"), "run", "--address", place]
    usual = {"DATA_DIR": str(folder), "DATABASE_URL": "", **variables}
    with running(arguments, lambda _: answers(f"http://{place}/health/live"), **usual) as process:
        yield process


def live_to_the_end(folder: Path, receiver: Receiver) -> None:
    """A server that nobody kills does all that there is to do."""
    with embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address):
        wait_until(all_delivered, "the end of the work")


# --- a place at which it stays ---


@dataclass(frozen=True)
class Place:
    """Statements by which the database never comes to an end there, and those that undo it."""

    closing: tuple[str, ...]
    opening: tuple[str, ...]


def writing(event: str, condition: str = "1") -> Place:
    """In the middle of a transaction that has begun to write, as ``INSERT ON table`` names it."""
    trigger = f"CREATE TRIGGER held BEFORE {event} WHEN {condition} BEGIN SELECT count(*) FROM endless; END"
    return Place((ENDLESS, trigger), ("DROP TRIGGER held", "DROP VIEW endless"))


def reading(table: str) -> Place:
    """At a table that is only read: without a lock."""
    keep = "PRAGMA legacy_alter_table=ON"
    view = f"CREATE VIEW {table} AS SELECT kept.* FROM endless CROSS JOIN kept"
    return Place(
        (keep, f"ALTER TABLE {table} RENAME TO kept", ENDLESS, view),
        (keep, f"DROP VIEW {table}", "DROP VIEW endless", f"ALTER TABLE kept RENAME TO {table}"),
    )


@contextmanager
def held(folder: Path, place: Place) -> Iterator[None]:
    """Whoever comes to this place while the block runs stays there."""
    execute(folder, place.closing)
    yield
    execute(folder, place.opening)


def execute(folder: Path, statements: tuple[str, ...], seconds: float = 20.0) -> None:
    """Statements on a connection of their own, each for itself."""
    with closing(sqlite3.connect(folder / FILE, timeout=seconds, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


def is_writing_for_long(folder: Path) -> bool:
    """Whether somebody writes, and for longer than anything that is not held takes."""
    try:
        execute(folder, ("BEGIN IMMEDIATE", "ROLLBACK"), seconds=2.0)
    except sqlite3.OperationalError:
        return True
    return False
