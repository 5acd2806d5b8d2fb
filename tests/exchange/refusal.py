"""Asserts that a call of a deal is refused in the words a grower reads, and that it changed nothing."""

from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models

from growers.errors import DomainError, FieldProblem, InvalidInput

Snapshot = dict[str, list[dict[str, Any]]]


def rows() -> Snapshot:
    """All rows of all tables of facts and deals, of their many-to-many tables and of the queue of changes."""
    return {model._meta.db_table: _rows(model) for model in _models()}


def _models() -> list[type[models.Model]]:
    return [
        model
        for label in ("growers", "exchange")
        for model in apps.get_app_config(label).get_models(include_auto_created=True)
    ]


def _rows(model: type[models.Model]) -> list[dict[str, Any]]:
    return list(model._default_manager.order_by("pk").values())


def _stored() -> dict[str, list[Any]]:
    """The same rows as the driver gives them: composing the queries took a tenth of the time of all tests."""
    found = {}
    with connection.cursor() as cursor:
        for query in _queries():
            cursor.execute(query)
            found[query] = cursor.fetchall()
    return found


@cache
def _queries() -> tuple[str, ...]:
    tables = ((model._meta.db_table, model._meta.pk.column) for model in _models())
    return tuple(f"SELECT * FROM {table} ORDER BY {key}" for table, key in tables)


def refused(call: Callable[[], object], error: type[DomainError] = InvalidInput) -> DomainError:
    """The error of a call that must be refused and leave every row as it was."""
    before = _stored()
    with pytest.raises(error) as caught:
        call()
    assert _stored() == before
    return caught.value


def problems(call: Callable[[], object]) -> dict[str, str]:
    """Pointer and sentence of each problem of a refused call."""
    found: tuple[FieldProblem, ...] = refused(call).problems
    assert found
    return {problem.pointer: problem.detail for problem in found}
