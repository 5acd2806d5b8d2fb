"""Public ids in a body become rows; what the sender may not know of is told as if there were none."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from growers.errors import FieldProblem, InvalidInput

Row = TypeVar("Row", bound=Model)


def row_named(rows: QuerySet[Row], public_id: Any, *, field: str, what: str) -> Row | None:
    """The row among those that the sender may name; None for null."""
    if public_id is None:
        return None
    row = rows.filter(public_id=public_id).first()
    if row is None:
        detail = f"{field} is not {what} that you can see."
        raise InvalidInput(detail, problems=(FieldProblem(f"/{field}", "not_found", detail),))
    return row


def rows_named(rows: QuerySet[Row], public_ids: Sequence[Any], *, field: str, what: str) -> list[Row]:
    """The rows of a list of ids, in its order; each that the sender may not name is told by its place."""
    found = {row.public_id: row for row in rows.filter(public_id__in=public_ids)}  # type: ignore[attr-defined]
    problems = tuple(
        FieldProblem(f"/{field}/{place}", "not_found", f"{field} {place} is not {what} that you can see.")
        for place, public_id in enumerate(public_ids)
        if public_id not in found
    )
    if problems:
        raise InvalidInput(" ".join(problem.detail for problem in problems), problems=problems)
    return [found[public_id] for public_id in public_ids]


@contextmanager
def fields_named(names: Mapping[str, str]) -> Iterator[None]:
    """Point the faults of a service to the fields of the body: ``{"site": "site_id"}``."""
    try:
        yield
    except InvalidInput as error:
        problems = tuple(_renamed(problem, names) for problem in error.problems)
        raise InvalidInput(error.detail, problems=problems) from error


def _renamed(problem: FieldProblem, names: Mapping[str, str]) -> FieldProblem:
    name = problem.pointer.removeprefix("/")
    return replace(problem, pointer=f"/{names[name]}") if name in names else problem
