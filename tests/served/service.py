"""A service beside a test: its own PostgreSQL and Redis, which may be stopped, killed and started again."""

import os
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from typing import Any

import psycopg
from celery import Celery
from django.core.management import call_command
from django.db import connection, connections
from django.db.utils import DEFAULT_DB_ALIAS

from exchange.benchmarks.servers import PrivatePostgres, PrivateRedis, ServerMissing
from exchange.project.environment import Environment
from tests.requirement import missing
from tests.served.process import Process, running

KINDS = ("TEST_POSTGRES_BIN", "TEST_REDIS_BIN", "PATH")


@dataclass
class Service:
    """The two servers, and the settings of processes that use them."""

    postgres: PrivatePostgres
    redis: PrivateRedis
    variables: dict[str, str] = field(default_factory=dict)

    def deliver(self, task: str) -> None:
        """Put a task into the queue, as beat does."""
        with Celery(broker=self.variables["REDIS_URL"], set_as_current=False) as app:
            app.send_task(task)

    @contextmanager
    def worker(self, **variables: str) -> Iterator[Process]:
        """A Celery worker that takes one task at a time."""
        options = ["--concurrency", "1", "--loglevel", "INFO", "--without-gossip", "--without-mingle"]
        arguments = ["-m", "celery", "-A", "tests.served.application", "worker", *options]
        usual = {**self.variables, **variables}
        with running(arguments, lambda process: " ready." in process.said(), **usual) as process:
            yield process

    @contextmanager
    def beat(self) -> Iterator[Process]:
        """Celery's beat, which asks for a look at what is due every second instead of every minute."""
        arguments = ["-m", "celery", "-A", "tests.served.hurried", "beat", "--loglevel", "INFO"]
        with running(
            arguments, lambda process: "beat: Starting" in process.said(), **self.variables
        ) as process:
            yield process

    @contextmanager
    def held(self, statement: str) -> Iterator[None]:
        """What a statement locks is not to be had by others."""
        with closing(psycopg.connect(self.variables["DATABASE_URL"])) as holder:
            holder.execute(statement)
            yield

    def asked(self, condition: str) -> int:
        """How many connections to the database there are of this kind."""
        question = f"SELECT count(*) FROM pg_stat_activity WHERE {condition}"
        with psycopg.connect(self.variables["DATABASE_URL"]) as asking:
            found = asking.execute(question).fetchone()
        assert found is not None
        return int(found[0])

    def waits_for_a_lock(self) -> bool:
        """Whether somebody wants what another has."""
        return self.asked("wait_event_type = 'Lock'") > 0

    def is_left_alone(self) -> bool:
        """Whether nobody is connected but the test, and the connection that asks."""
        return self.asked("backend_type = 'client backend'") == 2


@contextmanager
def service() -> Iterator[Service]:
    """Both servers, with an empty, migrated database that is this test's default while the block runs."""
    # Servers of our own, whatever the run uses: nobody else bears that they are stopped.
    own = {name: os.environ[name] for name in KINDS if name in os.environ}
    servers = Service(PrivatePostgres(environment=own), PrivateRedis(environment=own))
    with ExitStack() as ends:
        try:
            url = ends.enter_context(servers.postgres)
            redis_url = ends.enter_context(servers.redis)
        except ServerMissing as error:
            missing(str(error))
        servers.variables = {"DATABASE_URL": url, "REDIS_URL": redis_url}
        ends.enter_context(default_database(Environment({"DATABASE_URL": url}).database("DATABASE_URL")))
        call_command("migrate", verbosity=0)
        yield servers


@contextmanager
def emptied() -> Iterator[None]:
    """Nothing stays in the default database."""
    try:
        yield
    finally:
        call_command("flush", interactive=False, verbosity=0)


@contextmanager
def default_database(database: dict[str, Any]) -> Iterator[None]:
    """Another database in place of the run's own, for this thread and while the block runs."""
    kept, kept_connection = connections.databases[DEFAULT_DB_ALIAS], connections[DEFAULT_DB_ALIAS]
    ready = connections.configure_settings({DEFAULT_DB_ALIAS: {**database, "CONN_HEALTH_CHECKS": True}})
    connections.databases[DEFAULT_DB_ALIAS] = ready[DEFAULT_DB_ALIAS]
    del connections[DEFAULT_DB_ALIAS]
    try:
        yield
    finally:
        connection.close()
        connections.databases[DEFAULT_DB_ALIAS] = kept
        connections[DEFAULT_DB_ALIAS] = kept_connection
