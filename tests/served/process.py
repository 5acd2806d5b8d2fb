"""Servers and workers beside a test: real processes on the test's database, gone when it ends."""

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from urllib.error import URLError

from django.db import connection

from exchange.benchmarks.servers import end, free_port, private_home, start_guard
from tests.architecture.tree import ROOT

PATIENCE_SECONDS = 120.0
POLL_SECONDS = 0.05


def wait_until(condition: Callable[[], object], what: str) -> None:
    """Wait for a condition; an error that names it if it does not come."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not condition():
        if time.monotonic() > deadline:
            raise TimeoutError(f"did not come: {what}")
        threading.Event().wait(POLL_SECONDS)


class Process:
    """One process and its children, in a folder of its own; they end with the test, however that ends."""

    def __init__(self, arguments: Sequence[str], **variables: str) -> None:
        self.address = ""
        self.home = private_home({})
        self.guard = start_guard(self.home, signal.SIGTERM)
        named = {"SERVED_DATABASE": str(connection.settings_dict["NAME"]), "PYTHONPATH": str(ROOT)}
        self.log = self.home / "log"
        with self.log.open("wb") as log:
            self.popen = subprocess.Popen(
                [sys.executable, *arguments],
                cwd=self.home,
                env={**os.environ, **named, **variables},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        assert self.guard.stdin is not None
        self.guard.stdin.write(f"{self.popen.pid}\n".encode())

    def said(self) -> str:
        """What it wrote so far."""
        return self.log.read_text(encoding="utf-8", errors="replace")

    def kill(self) -> None:
        """End it and its children at once, in the middle of whatever they do."""
        os.killpg(self.popen.pid, signal.SIGKILL)
        self.popen.wait()

    def stop(self) -> None:
        """End it in order and clear up."""
        end(self.popen, signal.SIGTERM)
        assert self.guard.stdin is not None
        self.guard.stdin.close()
        end(self.guard)
        shutil.rmtree(self.home, ignore_errors=True)


@contextmanager
def running(
    arguments: Sequence[str], ready: Callable[[Process], object], **variables: str
) -> Iterator[Process]:
    """A process while the block runs, from when it is ready; its log is shown if it never is."""
    process = Process(arguments, **variables)
    try:
        try:
            wait_until(lambda: process.popen.poll() is not None or ready(process), "its start")
            assert process.popen.poll() is None
        except (AssertionError, TimeoutError) as error:
            raise RuntimeError(f"{arguments} did not start. Its log:\n{process.said()}") from error
        yield process
    finally:
        process.stop()


@contextmanager
def served(*, processes: int, threads: int, **variables: str) -> Iterator[Process]:
    """The application at an address, served by so many processes with so many threads each."""
    place = f"127.0.0.1:{free_port()}"
    options = ["--bind", place, "--workers", str(processes), "--threads", str(threads)]
    usual = ["--timeout", "600", "--graceful-timeout", "5", "--no-control-socket", "--preload"]
    arguments = ["-m", "gunicorn", "tests.served.application", *options, *usual]
    with running(arguments, lambda _: answers(f"http://{place}/health/live"), **variables) as process:
        process.address = f"http://{place}"
        yield process


def answers(url: str) -> bool:
    """Whether somebody answers with 200."""
    try:
        with urllib.request.urlopen(url, timeout=10) as response:
            return bool(response.status == 200)
    except (URLError, ConnectionError, TimeoutError):
        return False
