"""Histories that the database lets nobody change or delete, after all migrations, on both databases."""

import re
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.db.utils import DatabaseError

from exchange import migrations
from tests.append_only import guarded_tables, unguarded

pytestmark = pytest.mark.django_db

TABLES = [
    "exchange_addressview",
    "exchange_agreementevent",
    "exchange_custodyevent",
    "exchange_papersstatement",
    "exchange_recall",
    "exchange_recallnotice",
]


def test_these_tables_are_guarded() -> None:
    assert guarded_tables() == TABLES


def test_every_model_that_says_so_is_guarded() -> None:
    says = re.compile(r"never changed|nobody change|lets nobody", re.IGNORECASE)
    models = apps.get_app_config("exchange").get_models()
    found = {model._meta.db_table for model in models if says.search(model.__doc__ or "")}
    assert {"exchange_custodyevent", "exchange_agreementevent"} <= found <= set(TABLES)


@pytest.fixture
def row(request: pytest.FixtureRequest) -> str:
    """A table with one row in it, whatever it refers to: its keys are checked only at the end, if at all."""
    table: str = request.param
    model = next(model for model in apps.get_models() if model._meta.db_table == table)
    columns = [column for column in model._meta.concrete_fields if not column.primary_key]
    given = {column.column: _some(column) for column in columns}
    names = ", ".join(f'"{name}"' for name in given)
    holes = ", ".join(["%s"] * len(given))
    with connection.cursor() as cursor:
        cursor.execute(f'INSERT INTO "{table}" ({names}) VALUES ({holes})', list(given.values()))
    return table


def _some(column: object) -> Any:
    kinds: list[tuple[type, Any]] = [
        (models.ForeignKey, 1),
        (
            models.UUIDField,
            "0" * 32 if connection.vendor == "sqlite" else "0" * 8 + "-0000-0000-0000-" + "0" * 12,
        ),
        (models.DateTimeField, "2027-07-01 12:00:00+00:00"),
        (models.DateField, "2027-07-01"),
        (models.JSONField, "{}"),
        (models.BooleanField, True),
        (models.BinaryField, None),
    ]
    return next((value for kind, value in kinds if isinstance(column, kind)), "x")


@pytest.mark.parametrize("row", TABLES, indirect=True)
@pytest.mark.parametrize(
    "command",
    ['UPDATE "{table}" SET created_at = created_at', 'DELETE FROM "{table}"'],
    ids=["update", "delete"],
)
def test_what_is_written_stays(row: str, command: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL DEFERRED" if connection.vendor == "postgresql" else "SELECT 1")
        with (
            pytest.raises((IntegrityError, DatabaseError), match=f"{row} is append-only"),
            transaction.atomic(),
        ):
            cursor.execute(command.format(table=row))
        cursor.execute(f'SELECT COUNT(*) FROM "{row}"')
        assert cursor.fetchone() == (1,)
        with unguarded():
            cursor.execute(f'DELETE FROM "{row}"')


def test_a_migration_that_remakes_a_guarded_table_guards_it_again() -> None:
    """On SQLite a changed column is a new table, without triggers; whoever changes one calls the helper."""
    folder = Path(migrations.__file__).parent
    later = [path for path in sorted(folder.glob("[0-9]*.py")) if path.name > "0011"]
    names = [table.removeprefix("exchange_") for table in TABLES]
    for path in later:
        text = path.read_text(encoding="utf-8")
        touched = [name for name in names if f"model_name='{name}'" in text or f'model_name="{name}"' in text]
        assert not touched or all(f"exchange_{name}" in text for name in touched)
