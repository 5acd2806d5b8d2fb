"""Notes which facts changed: the queue that matching empties."""

from collections.abc import Iterable

from django.db import connection, models

from growers.models import Change


def note(kind: str, row: models.Model) -> Change:
    """Note that ``row`` changed; must be called in the transaction that changed it."""
    (noted,) = note_all(kind, [row])
    return noted


def note_all(kind: str, rows: Iterable[models.Model]) -> list[Change]:
    """Note several changed rows of one kind in one statement."""
    if not connection.in_atomic_block:
        raise RuntimeError("A change is noted in the transaction that changes the fact; none is open.")
    return Change.objects.bulk_create(Change(kind=Change.Kind(kind), subject_id=row.pk) for row in rows)
