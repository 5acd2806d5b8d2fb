"""The database as it really runs: the settings of SQLite take effect, a blocked migration gives up."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import OperationalError, connection, connections, transaction
from pytest_django import DjangoDbBlocker

from growers.models import Change
from tests.scratch import scratch_database


def pragma(name: str) -> object:
    with connection.cursor() as cursor:
        return cursor.execute(f"PRAGMA {name}").fetchone()[0]


@pytest.mark.django_db
def test_sqlite_runs_with_a_log_of_writes_and_foreign_keys() -> None:
    if connection.vendor != "sqlite":
        pytest.skip("about SQLite")
    assert pragma("journal_mode") == "wal"
    assert pragma("synchronous") == 1
    assert pragma("foreign_keys") == 1
    assert pragma("busy_timeout") == 20_000


@pytest.mark.django_db(transaction=True)
def test_a_transaction_that_reads_first_waits_for_its_turn_to_write() -> None:
    """Deferred transactions of SQLite would fail here: both read, then both want to write."""
    gate = threading.Barrier(2)
    errors: list[BaseException] = []

    def count_and_add() -> None:
        try:
            gate.wait(30)
            for _ in range(20):
                with transaction.atomic():
                    Change.objects.create(kind="plant", subject_id=Change.objects.count())
        except BaseException as error:
            errors.append(error)
        finally:
            connections.close_all()

    workers = [threading.Thread(target=count_and_add) for _ in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert errors == []
    assert Change.objects.count() == 40


@pytest.mark.database
def test_a_migration_gives_up_on_a_busy_table(
    tmp_path: Path, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> None:
    with django_db_blocker.unblock():
        if connection.vendor != "postgresql":
            pytest.skip("about PostgreSQL")
        with scratch_database(tmp_path) as alias:
            call_command("migrate", database=alias, verbosity=0)
            with (
                held_by_another(alias, "growers_change"),
                pytest.raises(OperationalError, match="lock timeout"),
            ):
                call_command("migrate", "growers", "zero", database=alias, verbosity=0)
            with connections[alias].cursor() as cursor:
                cursor.execute("SHOW lock_timeout")
                assert cursor.fetchone() == ("0",)


@contextmanager
def held_by_another(alias: str, table: str) -> Iterator[None]:
    """Another connection works on a table and does not end."""
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with transaction.atomic(using=alias), connections[alias].cursor() as cursor:
            cursor.execute(f"LOCK TABLE {table}")
            held.set()
            done.wait(60)
        connections.close_all()

    holder = threading.Thread(target=hold)
    holder.start()
    try:
        assert held.wait(30)
        yield
    finally:
        done.set()
        holder.join(30)
