"""Migrations: complete, named, numbered once, forward and back on the database of the run."""

import re
from collections import Counter
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connections
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model
from pytest_django import DjangoDbBlocker

from tests.architecture.tree import PACKAGES
from tests.scratch import scratch_database


@pytest.mark.django_db
def test_the_models_have_all_their_migrations() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_migrations_are_named_and_numbered_once() -> None:
    names = [key for key in MigrationLoader(None).disk_migrations if key[0] in PACKAGES]
    assert [
        name for _, name in names if not re.fullmatch(r"\d{4}_[a-z][a-z0-9_]+", name) or "_auto_" in name
    ] == []
    numbers = Counter((app, name[:4]) for app, name in names)
    assert [number for number, count in numbers.items() if count > 1] == []


def shape(alias: str) -> dict[str, list[str]]:
    """Tables with their columns, keys and indexes."""
    with connections[alias].cursor() as cursor:
        inside = connections[alias].introspection
        return {
            table: sorted(column.name for column in inside.get_table_description(cursor, table))
            + sorted(inside.get_constraints(cursor, table))
            for table in inside.table_names(cursor)
        }


@pytest.mark.database
def test_migrations_run_forward_and_back(
    tmp_path: Path, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> None:
    with django_db_blocker.unblock(), scratch_database(tmp_path) as alias:
        call_command("migrate", database=alias, verbosity=0)
        full = shape(alias)
        for package in PACKAGES:
            call_command("migrate", package, "zero", database=alias, verbosity=0)
        left = shape(alias)
        assert [table for table in left if table.startswith(PACKAGES)] == []
        call_command("migrate", database=alias, verbosity=0)
        again = shape(alias)
    tables = {model._meta.db_table for model in own_models()}
    assert tables <= set(full)
    assert without_random_names(again) == without_random_names(full)
    assert settings.MIGRATION_LOCK_WAIT_SECONDS == 4


def own_models() -> list[type[Model]]:
    return [model for package in PACKAGES for model in apps.get_app_config(package).get_models()]


def without_random_names(tables: dict[str, list[str]]) -> dict[str, list[str]]:
    return {
        table: [name for name in names if not name.startswith("__unnamed")] for table, names in tables.items()
    }
