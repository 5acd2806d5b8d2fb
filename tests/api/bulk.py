"""Rows written in bulk, past the services."""

import uuid
from collections.abc import Sequence
from typing import Any, TypeVar

from django.db import models

from growers.models.base import PublicModel

Row = TypeVar("Row", bound=models.Model)


def copies(row: Row, numbers: Sequence[int], **columns: Any) -> list[Row]:
    """Copies of a row, one for each number; a column that differs is a function of the number."""
    kind = type(row)
    fields = [field for field in kind._meta.concrete_fields if not field.primary_key]
    same = {field.attname: getattr(row, field.attname) for field in fields}
    rows = []
    for number in numbers:
        stated = {name: value(number) if callable(value) else value for name, value in columns.items()}
        own = {"public_id": uuid.uuid4()} if issubclass(kind, PublicModel) else {}
        rows.append(kind(**{**same, **own, **stated}))
    return kind._default_manager.bulk_create(rows, batch_size=200)
