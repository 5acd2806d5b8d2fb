"""Rows that nobody changes or deletes, not even by SQL: triggers on both databases.

SQLite loses the triggers of a table that a migration remakes (most changes of a column do), so every later
migration that touches one of these tables ends with ``append_only(...)`` again; a test tries all of them
after all migrations.
"""

from typing import Any

from django.db import migrations

POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION exchange_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def append_only(*tables: str) -> migrations.RunPython:
    """Let rows of these tables be added only; run again it is the same."""

    def make(_apps: Any, schema_editor: Any) -> None:
        for statement in statements(schema_editor.connection.vendor, tables):
            schema_editor.execute(statement, params=None)

    def unmake(_apps: Any, schema_editor: Any) -> None:
        for statement in removals(schema_editor.connection.vendor, tables):
            schema_editor.execute(statement, params=None)

    return migrations.RunPython(make, unmake)


def statements(vendor: str, tables: tuple[str, ...]) -> list[str]:
    """SQL that makes the triggers, after it has removed those that are there."""
    made = removals(vendor, tables)
    if vendor == "postgresql":
        made.append(POSTGRES_FUNCTION)
    for table in tables:
        made += _triggers(vendor, table)
    return made


def removals(vendor: str, tables: tuple[str, ...]) -> list[str]:
    """SQL that removes the triggers; the function stays."""
    if vendor == "postgresql":
        return [f'DROP TRIGGER IF EXISTS "{table}_append_only" ON "{table}"' for table in tables]
    return [f'DROP TRIGGER IF EXISTS "{table}_no_{word}"' for table in tables for word in ("update", "delete")]


def _triggers(vendor: str, table: str) -> list[str]:
    if vendor == "postgresql":
        return [
            f'CREATE TRIGGER "{table}_append_only" BEFORE UPDATE OR DELETE ON "{table}" '
            "FOR EACH ROW EXECUTE FUNCTION exchange_append_only()"
        ]
    return [
        f'CREATE TRIGGER "{table}_no_{word}" BEFORE {word.upper()} ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        for word in ("update", "delete")
    ]
