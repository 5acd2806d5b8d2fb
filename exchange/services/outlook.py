"""The dates of lots as last reckoned: made anew whenever a history changes, outside the change itself.

The change sets a due row in its own transaction, so that a worker that dies leaves the work behind.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from django.db import transaction

from exchange.models import Lot, LotOutlook, Packet
from exchange.selectors.lot_outlook import LotState, lot_state, version
from exchange.selectors.lot_record import lot_record, lots_loaded
from exchange.services.due import due_done, due_revision, due_set, register
from growers import clock

KIND = "lot_outlook"
ROWS_AT_ONCE = 100
RECKONED = (
    "best_before_at",
    "best_before_median_at",
    "worth_trying_until_at",
    "thermal_age_days",
    "doubts",
    "basis",
    "model_version",
    "reckoned_at",
)
Key = tuple[int, int | None]

AT_ONCE = 50
"""So many lots are set for a new model in one sweep (judgement)."""


def outlooks_renew_later(lots: Iterable[Lot], now: datetime) -> None:
    """Have the dates of lots and their packets reckoned anew; in the transaction that changed them."""
    for lot in lots:
        due_set(kind=KIND, subject_id=lot.pk, due_at=now)


def outlook_renew(lot: Lot) -> None:
    """Reckon the dates of a lot and of its packets now, instead of later; not inside a transaction."""
    revision = due_revision(kind=KIND, subject_id=lot.pk)
    _renew(lot, clock.now())
    due_done(kind=KIND, subject_id=lot.pk, revision=revision)


def outlook_row(state: LotState) -> LotOutlook:
    """What was reckoned, as a row that is not stored yet."""
    return LotOutlook(
        lot=state.record.lot,
        packet=state.record.packet,
        best_before_at=state.dates.best_before,
        best_before_median_at=state.dates.best_before_median,
        worth_trying_until_at=state.dates.worth_trying_until,
        thermal_age_days=state.thermal_age_days,
        doubts=state.doubts,
        basis=dict(state.basis),
        model_version=version(),
        reckoned_at=state.record.now,
    )


def outlooks_keep(rows: Sequence[LotOutlook]) -> None:
    """Store rows reckoned at one instant, each unless something later was reckoned meanwhile."""
    with transaction.atomic():
        keys = dict(_stored(rows))
        LotOutlook.objects.bulk_create((row for row in rows if _key(row) not in keys), ignore_conflicts=True)
        for row in rows:
            row.pk = keys.get(_key(row), row.pk)
        again = [row for row in rows if _key(row) in keys]
        if again:
            earlier = LotOutlook.objects.filter(reckoned_at__lte=again[0].reckoned_at)
            earlier.bulk_update(again, RECKONED, batch_size=ROWS_AT_ONCE)


def _stored(rows: Sequence[LotOutlook]) -> Iterator[tuple[Key, int]]:
    found = LotOutlook.objects.filter(lot__in={row.lot_id for row in rows})
    for lot, packet, key in found.values_list("lot", "packet", "pk"):
        yield (lot, packet), key


def _key(row: LotOutlook) -> Key:
    return row.lot_id, row.packet_id


@register(KIND)
def outlook_due(subject_id: int, now: datetime) -> datetime | None:
    """Reckon one lot anew."""
    _renew(Lot.objects.get(pk=subject_id), clock.now())
    return None


def _renew(lot: Lot, now: datetime) -> None:
    (loaded,) = lots_loaded([lot])
    packets = list(Packet.objects.filter(lot=lot).select_related("store").order_by("pk"))
    states = [lot_state(lot_record(loaded, now, packet)) for packet in (None, *packets)]
    outlooks_keep([outlook_row(state) for state in states])
