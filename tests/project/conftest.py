"""Servers beside the tests of this folder, for those that ask for them."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from pytest_django import DjangoDbBlocker

from tests.clock import MovableClock

if TYPE_CHECKING:  # this file is read before Django is set up
    from tests.served.service import Service


@pytest.fixture(scope="module")
def servers(django_db_blocker: DjangoDbBlocker) -> Iterator["Service"]:
    """PostgreSQL and Redis of the tests of one file."""
    from tests.served.service import service

    with django_db_blocker.unblock(), service() as started:
        yield started


@pytest.fixture(scope="module")
def module_clock() -> Iterator[MovableClock]:
    """The clock, for what is told once for several tests."""
    movable = MovableClock(Path(os.environ["CLOCK_OFFSET_FILE"]))
    yield movable
    movable.reset()


@pytest.fixture
def society(servers: "Service", clock: MovableClock) -> Iterator["Service"]:
    """The servers with an empty database, at noon."""
    from tests.exchange.society import NOON
    from tests.served.service import emptied

    clock.set(NOON)
    with emptied():
        yield servers


@pytest.fixture(scope="module")
def untouched(tmp_path_factory: pytest.TempPathFactory, django_db_blocker: DjangoDbBlocker) -> Iterator[Path]:
    """A folder of the embedded server, which has not been started in it yet."""
    from tests.served.embedded import folder_make

    folder = tmp_path_factory.mktemp("embedded") / "data"
    with django_db_blocker.unblock():
        folder_make(folder)
        yield folder


@pytest.fixture
def folder(untouched: Path, tmp_path: Path, clock: MovableClock) -> Iterator[Path]:
    """Such a folder for one test, at noon; its file is the test's database."""
    from tests.exchange.society import NOON
    from tests.served.embedded import copied, opened

    clock.set(NOON)
    made = copied(untouched, tmp_path)
    with opened(made):
        yield made
