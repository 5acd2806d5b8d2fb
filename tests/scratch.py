"""A database beside that of the tests, for what would spoil it: migrations back and forth."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection, connections

SCRATCH = "scratch"


@contextmanager
def scratch_database(folder: Path) -> Iterator[str]:
    """An empty database beside that of the tests, under an alias of its own."""
    name = f"{connection.settings_dict['NAME']}_scratch"
    if connection.vendor == "sqlite":
        name = str(folder / "scratch.sqlite3")
    else:
        with connection.cursor() as cursor:
            cursor.execute(f'CREATE DATABASE "{name}"')
    connections.databases[SCRATCH] = {**connections.databases["default"], "NAME": name}
    try:
        yield SCRATCH
    finally:
        connections[SCRATCH].close()
        del connections[SCRATCH]
        del connections.databases[SCRATCH]
        if connection.vendor != "sqlite":
            with connection.cursor() as cursor:
                cursor.execute(f'DROP DATABASE "{name}"')
