"""Entries of a grower's calendar as they were last told: what changed has the next number of its own.

They are brought up to date when they are read. Two readers at once change nothing twice: a row is changed by
whoever still finds it as it was read.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from exchange.models import CalendarEntry
from exchange.selectors.calendar import entries_of
from exchange.wording.calendar import Entry
from growers.models import Grower

CANCELLED_TOLD = timedelta(days=30)
"""For so long an entry that holds no more is told as cancelled (judgement).

Its row stays, so that it goes on counting if it comes back.
"""


def entries_told(grower: Grower, now: datetime) -> list[CalendarEntry]:
    """What a grower's calendar shows now, in the language that is active; by uid."""
    hold = {entry.uid: entry for entry in entries_of(grower, now)}
    rows = list(_rows(grower))
    if _bring_up_to_date(grower, hold, rows, now):
        rows = list(_rows(grower))
    return [row for row in rows if row.cancelled_at is None or row.cancelled_at > now - CANCELLED_TOLD]


def _rows(grower: Grower) -> QuerySet[CalendarEntry]:
    return CalendarEntry.objects.filter(grower=grower).order_by("uid")


def _bring_up_to_date(
    grower: Grower, hold: Mapping[str, Entry], rows: Iterable[CalendarEntry], now: datetime
) -> bool:
    """Write what differs; whether anything did."""
    known = {row.uid: row for row in rows}
    new = [_row(grower, entry, now) for uid, entry in hold.items() if uid not in known]
    changed = [row for uid, row in known.items() if uid in hold and _differs(row, hold[uid])]
    ended = [row for uid, row in known.items() if uid not in hold and row.cancelled_at is None]
    if not (new or changed or ended):
        return False
    with transaction.atomic():
        CalendarEntry.objects.bulk_create(new, ignore_conflicts=True)
        for row in changed:
            entry = hold[row.uid]
            _change(row, now, digest=_digest(entry), content=entry.content, cancelled_at=None)
        for row in ended:
            _change(row, now, cancelled_at=now)
    return True


def _row(grower: Grower, entry: Entry, now: datetime) -> CalendarEntry:
    return CalendarEntry(
        grower=grower, uid=entry.uid, digest=_digest(entry), content=entry.content, changed_at=now
    )


def _differs(row: CalendarEntry, entry: Entry) -> bool:
    return row.cancelled_at is not None or row.digest != _digest(entry)


def _change(row: CalendarEntry, now: datetime, **columns: Any) -> None:
    as_read = CalendarEntry.objects.filter(pk=row.pk, sequence=row.sequence)
    as_read.update(sequence=row.sequence + 1, changed_at=now, **columns)


def _digest(entry: Entry) -> str:
    return hashlib.sha256(json.dumps(entry.content, sort_keys=True).encode()).hexdigest()
