"""Emptying the tables between tests, which append-only tables of SQLite would not let Django do."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection
from django.db.backends.sqlite3.base import DatabaseWrapper

from exchange.migrations._append_only import removals, statements


def guarded_tables() -> list[str]:
    """Tables whose rows nobody changes or deletes, by the triggers that are there."""
    if connection.vendor == "postgresql":
        sql = "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname LIKE '%append_only'"
    else:
        sql = "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%_no_delete'"
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return sorted(name for (name,) in cursor.fetchall())


@contextmanager
def unguarded() -> Iterator[None]:
    """For a test that rewrites history to see what comes of it."""
    tables = tuple(guarded_tables())
    _execute(removals(connection.vendor, tables))
    yield
    _execute(statements(connection.vendor, tables))


def _execute(commands: list[str]) -> None:
    with connection.cursor() as cursor:
        for command in commands:
            cursor.execute(command)


@contextmanager
def flush_allowed() -> Iterator[None]:
    """Let Django empty the tables of SQLite: without their triggers, which it makes again."""
    operations = DatabaseWrapper.ops_class
    usual = operations.sql_flush

    def flush(self: Any, *args: Any, **options: Any) -> list[str]:
        tables = tuple(guarded_tables())
        emptied: list[str] = usual(self, *args, **options)
        return [*removals("sqlite", tables), *emptied, *statements("sqlite", tables)]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(operations, "sql_flush", flush)
        yield
