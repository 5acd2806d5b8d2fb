"""The test run: which database, the moved clock, the three growers, the count of published checks.

Everything is set through the environment before Django is set up, in this file's
``pytest_configure``; the processes of xdist inherit it from the controller.
"""

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import hypothesis
import pytest

from tests.clock import MovableClock
from tests.published import asserted

if TYPE_CHECKING:
    from growers.models import Grower

DATABASE_FIXTURES = frozenset({"db", "transactional_db", "live_server", "django_db_serialized_rollback"})
PUBLISHED_CHECKS_AT_LEAST = 150
MOST_CONNECTIONS = 200
SERVICE_VARIABLES = ("DATABASE_URL", "REDIS_URL", "SECRET_KEY", "ADDRESS_KEYS", "ALLOWED_HOSTS", "DEBUG")

ends = ExitStack()

# A busy machine is no counterexample: of its own, Hypothesis fails an example that takes 200 ms.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database",
        choices=("sqlite", "postgres"),
        default="sqlite",
        help="sqlite (a file, default) or postgres (the one of DATABASE_URL, or one started for the run)",
    )


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    if "DJANGO_SETTINGS_MODULE" in os.environ and not is_worker(config):
        raise pytest.UsageError("DJANGO_SETTINGS_MODULE is set; the tests set it themselves: remove it.")
    if not is_worker(config):
        prepare_environment(config.getoption("--database"))
    if not only_distributes(config):
        load_settings()


def load_settings() -> None:
    """Load the settings of a process that runs tests, with a clock of its own."""
    worker = os.environ.get("PYTEST_XDIST_WORKER", "main")
    os.environ["CLOCK_OFFSET_FILE"] = str(Path(os.environ["DATA_DIR"]) / f"clock-{worker}")
    os.environ["DJANGO_SETTINGS_MODULE"] = "exchange.project.settings"
    from django.conf import settings

    # Read now: pytest-django sets Django up only if its settings are loaded by the end of pytest_configure.
    assert settings.UNDER_TEST


def prepare_environment(database: str) -> None:
    """Set the variables of the run in the controller; servers and folders go when it ends."""
    outer = {name: os.environ.pop(name, "") for name in SERVICE_VARIABLES}
    # Also when pytest does not come to its own end, because nobody reads what it writes.
    atexit.register(ends.close)
    data_dir = tempfile.mkdtemp(prefix="pollen-exchange-test-")
    ends.callback(shutil.rmtree, data_dir, ignore_errors=True)
    os.environ |= {"DATA_DIR": data_dir, "UNDER_TEST": "true"}
    if database == "postgres":
        from exchange.benchmarks.servers import PrivatePostgres

        server = PrivatePostgres(max_connections=MOST_CONNECTIONS)
        os.environ["DATABASE_URL"] = outer["DATABASE_URL"] or ends.enter_context(server)


def pytest_unconfigure(config: pytest.Config) -> None:
    if not is_worker(config):
        ends.close()


def is_worker(config: pytest.Config) -> bool:
    """Whether this process runs tests for a controller."""
    return hasattr(config, "workerinput")


def only_distributes(config: pytest.Config) -> bool:
    """Whether this process hands the tests to others and runs none."""
    return not is_worker(config) and bool(config.getoption("tx", default=None))


# --- which tests ---


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if DATABASE_FIXTURES.intersection(getattr(item, "fixturenames", ())) or item.get_closest_marker(
            "django_db"
        ):
            item.add_marker("database")
    if "slow" not in config.option.markexpr:
        slow = [item for item in items if item.get_closest_marker("slow")]
        config.hook.pytest_deselected(items=slow)
        items[:] = [item for item in items if not item.get_closest_marker("slow")]


# --- published checks: counted over all processes, too few fail the run ---


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any, error: object) -> None:
    asserted.update(tuple(pair) for pair in getattr(node, "workeroutput", {}).get("published", ()))


def pytest_sessionfinish(session: pytest.Session) -> None:
    if is_worker(session.config):
        session.config.workeroutput["published"] = sorted(asserted)  # type: ignore[attr-defined]
    elif is_complete(session) and len(asserted) < PUBLISHED_CHECKS_AT_LEAST:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any) -> None:
    areas = sorted({area for area, _ in asserted})
    line = f"published values asserted: {len(asserted)} different rows of {len(areas)} tables"
    session = terminalreporter._session
    if is_complete(session) and len(asserted) < PUBLISHED_CHECKS_AT_LEAST:
        terminalreporter.write_line(f"FAILED {line}; at least {PUBLISHED_CHECKS_AT_LEAST} are due", red=True)
    else:
        terminalreporter.write_line(line)


def is_complete(session: pytest.Session) -> bool:
    """Whether the run was meant to be the whole default suite."""
    option = session.config.option
    named = session.config.args_source is not pytest.Config.ArgsSource.TESTPATHS
    narrowed = option.markexpr or option.keyword or option.deselect or option.collectonly
    repeated = getattr(option, "lf", False) or getattr(option, "failedfirst", False)
    return not (named or narrowed or repeated or session.shouldstop or session.shouldfail)


# --- fixtures ---


@pytest.fixture(scope="session", autouse=True)
def log_without_secrets() -> Iterator[None]:
    """Whatever the tests of this process do, their log tells no token, password or address."""
    from tests.log_watch import our_handlers, watched_log

    with watched_log(our_handlers()) as told:
        yield
    assert told == []


@pytest.fixture(scope="session", autouse=True)
def tables_can_be_emptied() -> Iterator[None]:
    """Tests that commit leave nothing behind, append-only or not."""
    from tests.append_only import flush_allowed

    with flush_allowed():
        yield


@pytest.fixture
def clock() -> Iterator[MovableClock]:
    """The project's clock, to be set and moved."""
    movable = MovableClock(Path(os.environ["CLOCK_OFFSET_FILE"]))
    yield movable
    movable.reset()


@pytest.fixture
def donor(db: None) -> "Grower":
    """The grower who gives pollen."""
    from tests.factories import make_grower

    return make_grower("donor")


@pytest.fixture
def recipient(db: None) -> "Grower":
    """The grower who pollinates with it."""
    from tests.factories import make_grower

    return make_grower("recipient")


@pytest.fixture
def outsider(db: None) -> "Grower":
    """A grower with no part in it."""
    from tests.factories import make_grower

    return make_grower("outsider")
