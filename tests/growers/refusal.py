"""Asserts that a call is refused in the words a grower reads, and that it changed nothing."""

from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.db import models

from growers.errors import DomainError, FieldProblem, InvalidInput

Snapshot = dict[str, list[dict[str, Any]]]


def facts() -> Snapshot:
    """All rows of all tables of the facts, the queue of changes too."""
    return {model.__name__: _rows(model) for model in apps.get_app_config("growers").get_models()}


def _rows(model: type[models.Model]) -> list[dict[str, Any]]:
    return list(model._default_manager.order_by("pk").values())


def refused(call: Callable[[], object], error: type[DomainError] = InvalidInput) -> DomainError:
    """The error of a call that must be refused and leave every fact as it was."""
    before = facts()
    with pytest.raises(error) as caught:
        call()
    assert facts() == before
    return caught.value


def problems(call: Callable[[], object]) -> dict[str, str]:
    """Pointer and sentence of each problem of a refused call."""
    found: tuple[FieldProblem, ...] = refused(call).problems
    assert found
    return {problem.pointer: problem.detail for problem in found}
