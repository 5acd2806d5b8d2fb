"""A private database full of lots, and processes that reckon them."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from exchange.benchmarks.api_server import PASSED_ON, run_ours, service_settings
from exchange.benchmarks.servers import PrivatePostgres, PrivateRedis, ServerFailed
from exchange.project.settings import BASE_DIR
from growers import clock

DATABASES = ("postgres", "sqlite")
SETTINGS = "exchange.project.settings"
SEED = """
import django; django.setup()
from datetime import datetime
from exchange.benchmarks.lots_world import seed
print(seed({lots}, datetime.fromisoformat("{now}")))
"""
WORK = """
import django; django.setup()
from datetime import datetime
from exchange.benchmarks.lots import reckon, told
print(told(reckon(datetime.fromisoformat("{now}"), part={part}, parts={parts})))
"""


@dataclass(frozen=True)
class Prepared:
    """A database with lots, to be reckoned as of one instant."""

    variables: Mapping[str, str]
    now: datetime
    readings: int


@contextmanager
def prepared(lots: int, database: str) -> Iterator[Prepared]:
    """Lots on a private database that is gone afterwards.

    Raises
    ------
    ServerMissing
        If the machine has no PostgreSQL or no Redis, which the settings of a service ask for.
    ServerFailed
        If something does not start; with its log.
    """
    outer = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    now = clock.now().replace(microsecond=0)
    is_service = database == "postgres"
    postgres = PrivatePostgres(environment=outer) if is_service else nullcontext("")
    redis = PrivateRedis(environment=outer) if is_service else nullcontext("")
    with postgres as postgres_url, redis as redis_url, tempfile.TemporaryDirectory() as folder:
        variables = {**outer, "DATA_DIR": folder, "OMP_NUM_THREADS": "1", "DJANGO_SETTINGS_MODULE": SETTINGS}
        if is_service:
            addresses = {"DATABASE_URL": postgres_url, "REDIS_URL": redis_url}
            variables = {**service_settings(folder), **variables, **addresses}
        run_ours(variables, "manage.py", "migrate", "--verbosity", "0")
        readings = run_ours(variables, "-c", SEED.format(lots=lots, now=now.isoformat()))
        yield Prepared(variables, now, int(readings))


def work(made: Prepared, parts: int) -> list[str]:
    """What so many processes print, each after reckoning its part of the lots.

    Raises
    ------
    ServerFailed
        If one fails; with what it said.
    """
    folder = Path(made.variables["DATA_DIR"])
    started = [_started(made, folder / f"part-{part}.log", part, parts) for part in range(parts)]
    outputs = [process.communicate()[0] for process in started]
    for part, process in enumerate(started):
        if process.returncode != 0:
            log = (folder / f"part-{part}.log").read_text(encoding="utf-8")
            raise ServerFailed(f"process {part} failed:\n{log}")
    return outputs


def _started(made: Prepared, log: Path, part: int, parts: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WORK.format(now=made.now.isoformat(), part=part, parts=parts)]
    with log.open("w", encoding="utf-8") as said:
        return subprocess.Popen(
            command, cwd=BASE_DIR, env=dict(made.variables), stdout=subprocess.PIPE, stderr=said, text=True
        )
