"""A service as it is run, to be measured: PostgreSQL, Redis and one gunicorn worker, gone at the end."""

import http.client
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from exchange.benchmarks.servers import (
    POLL_SECONDS,
    START_SECONDS,
    PrivatePostgres,
    PrivateRedis,
    ServerFailed,
    end,
    free_port,
)
from exchange.project.keys import make_address_key, make_secret_key
from exchange.project.settings import BASE_DIR

SEED = "import django; django.setup(); from exchange.benchmarks.api_world import seed; print(seed())"
# Never what DATABASE_URL names: it is somebody's.
PASSED_ON = ("PATH", "TMPDIR", "TEST_POSTGRES_BIN", "TEST_REDIS_BIN")


@dataclass(frozen=True)
class Server:
    """A running server, a token for it and the id of a plant of the token's grower."""

    port: int
    token: str = ""
    plant_id: str = ""

    def ask(self, path: str) -> bytes:
        """One answer on a connection of its own, as the worker wants it."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=START_SECONDS)
        headers = {"Authorization": f"Bearer {self.token}", "X-Forwarded-Proto": "https"}
        try:
            connection.request("GET", path, headers=headers)
            answer = connection.getresponse()
            body = answer.read()
        finally:
            connection.close()
        if answer.status != http.client.OK:
            raise ServerFailed(f"{path} was answered with {answer.status}: {body.decode()}")
        return body

    def answers(self) -> bool:
        """Whether it takes requests."""
        try:
            return bool(self.ask("/health/live"))
        except OSError:
            return False


@contextmanager
def served() -> Iterator[Server]:
    """A seeded service.

    Raises
    ------
    ServerMissing
        If the machine has no PostgreSQL or no Redis.
    ServerFailed
        If something does not start; with its log.
    """
    outer = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    with (
        PrivatePostgres(environment=outer) as postgres,
        PrivateRedis(environment=outer) as redis,
        tempfile.TemporaryDirectory() as folder,
    ):
        variables = {**outer, **service_settings(folder), "DATABASE_URL": postgres, "REDIS_URL": redis}
        run_ours(variables, "manage.py", "migrate", "--verbosity", "0")
        token, plant_id = run_ours(variables, "-c", SEED).split()
        with _worker(variables, Path(folder) / "log") as port:
            yield Server(port, token, plant_id)


def service_settings(folder: str) -> dict[str, str]:
    """Variables of a service of our own, but for the addresses of its servers."""
    return {
        "DJANGO_SETTINGS_MODULE": "exchange.benchmarks.api_settings",
        "DATA_DIR": folder,
        "SECRET_KEY": make_secret_key(),
        "ADDRESS_KEYS": make_address_key(),
        "ALLOWED_HOSTS": "127.0.0.1",
        "PROXIES": "1",
        "REQUESTS_PER_MINUTE": "1000000",
        "OMP_NUM_THREADS": "1",
    }


def run_ours(variables: Mapping[str, str], *arguments: str) -> str:
    """What a command of ours prints; ``ServerFailed`` with what it says if it fails."""
    command = [sys.executable, *arguments]
    done = subprocess.run(command, cwd=BASE_DIR, env=variables, check=False, capture_output=True, text=True)
    if done.returncode != 0:
        raise ServerFailed(f"{' '.join(arguments)} failed:\n{done.stderr}")
    return done.stdout


@contextmanager
def _worker(variables: Mapping[str, str], log: Path) -> Iterator[int]:
    """The port of a gunicorn with one worker, ready to answer."""
    port = free_port()
    options = ["--workers", "1", "--bind", f"127.0.0.1:{port}", "--no-control-socket"]
    command = [sys.executable, "-m", "gunicorn", "exchange.project.wsgi", *options]
    with log.open("wb") as output:
        process = subprocess.Popen(command, cwd=BASE_DIR, env=variables, stdout=output, stderr=output)
    try:
        if not _becomes_ready(process, Server(port)):
            raise ServerFailed(f"gunicorn did not start. Its log:\n{log.read_text(encoding='utf-8')}")
        yield port
    finally:
        end(process, signal.SIGTERM)


def _becomes_ready(process: subprocess.Popen[bytes], server: Server) -> bool:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline:
        try:
            process.wait(POLL_SECONDS)
        except subprocess.TimeoutExpired:
            if server.answers():
                return True
        else:
            return False
    return False
