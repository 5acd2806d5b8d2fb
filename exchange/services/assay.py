"""Counted tests of lots: kept with their way, folded into the lot's curve."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from exchange.models import Assay, CustodyEvent, Lot, Packet
from exchange.models.offer import Treatment
from exchange.selectors.lot_outlook import Dates, LotState, lot_state
from exchange.selectors.lot_record import lot_record, lots_loaded
from exchange.services.custody import custody_note, note_check, occurred_check
from exchange.services.lot_tell import concerned, custody_tell
from exchange.services.outlook import outlook_renew, outlooks_renew_later
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.problem import Problems

MOST_REPLICATES = 20
MOST_GRAINS = 10_000


@dataclass(frozen=True)
class Counts:
    """A test as told; ``tested_at`` None is now, ``rehydrated`` None is not stated."""

    method: str
    medium: str
    rule: str
    replicates: Sequence[tuple[int, int]]
    tested_at: datetime | None = None
    rehydrated: bool | None = None
    note: str = ""


def assay_record(*, actor: Grower, lot: Lot, counts: Counts, packet: Packet | None = None) -> Assay:
    """Note a test of one's own lot, or of a packet that one holds; the others concerned are told.

    Raises ``NotFound`` for others, ``Conflict`` for a partner who holds nothing of it, ``InvalidInput`` for
    counts that cannot be.
    """
    now = clock.now()
    loaded = _known(actor, lot, packet)
    assay = _assay(actor, loaded, packet, counts, now)
    before = lot_state(lot_record(loaded, now, packet))
    with transaction.atomic():
        assay.save()
        after = lot_state(lot_record(loaded, now, packet))
        event = custody_note(
            loaded,
            CustodyEvent.Kind.TESTED,
            actor=actor,
            now=now,
            occurred_at=assay.tested_at,
            packet=packet,
            note=counts.note,
            method=assay.method,
            grains=sum(counted for _, counted in assay.replicates),
            germinated=sum(grown for grown, _ in assay.replicates),
            **dates_moved(before, after),
        )
        custody_tell(event, [grower for grower in concerned(loaded) if grower.pk != actor.pk])
        outlooks_renew_later([loaded], now)
    outlook_renew(loaded)
    return assay


def dates_moved(before: LotState, after: LotState) -> dict[str, Any]:
    """The dates before and after, and what newly puts the lot in doubt, for the history and those told."""
    return {
        "before": _dates(before.dates),
        "after": _dates(after.dates),
        "new_doubts": [code for code in after.doubts if code not in before.doubts],
    }


def _dates(dates: Dates) -> dict[str, str | None]:
    stated = {"best_before": dates.best_before, "worth_trying_until": dates.worth_trying_until}
    return {name: None if at is None else at.isoformat() for name, at in stated.items()}


def _known(actor: Grower, lot: Lot, packet: Packet | None) -> Lot:
    (loaded,) = lots_loaded([lot])
    holds = packet is not None and packet.holder_id == actor.pk
    if loaded.plant.grower_id == actor.pk or holds:
        return loaded
    if actor in concerned(loaded):
        raise Conflict("Who has the pollen tests it: the lot's grower, or the holder of a packet.")
    raise NotFound("There is no such lot.")


def _assay(actor: Grower, lot: Lot, packet: Packet | None, counts: Counts, now: datetime) -> Assay:
    problems = Problems()
    tested_at = counts.tested_at or now
    occurred_check(lot, tested_at, now, problems, name="tested_at")
    note_check(counts.note, problems)
    _counts_check(lot, counts, problems)
    problems.refuse_if_any()
    return Assay(
        lot=lot,
        packet=packet,
        tested_at=tested_at,
        method=counts.method,
        medium=counts.medium.strip(),
        rule=counts.rule.strip(),
        rehydrated=counts.rehydrated,
        replicates=[list(pair) for pair in counts.replicates],
        tested_by=actor,
    )


def _counts_check(lot: Lot, counts: Counts, problems: Problems) -> None:
    if counts.method not in Assay.Method.values:
        problems.add("method", counts.method, ", ".join(Assay.Method.values))
    for name in ("medium", "rule"):
        if not 1 <= len(getattr(counts, name).strip()) <= 200:
            problems.add(name, getattr(counts, name), "1 to 200 characters")
    if not 1 <= len(counts.replicates) <= MOST_REPLICATES:
        problems.add("replicates", len(counts.replicates), f"1 to {MOST_REPLICATES} replicates")
    for place, (grown, counted) in enumerate(counts.replicates):
        if not 0 <= grown <= counted <= MOST_GRAINS or counted < 1:
            allowed = f"0 to {counted} germinated of 1 to {MOST_GRAINS} grains"
            problems.add(f"replicates/{place}", f"{grown} of {counted}", allowed)
    dry = lot.treatment in (Treatment.DRIED, Treatment.FROZEN)
    if dry and counts.method != Assay.Method.STAIN and counts.rehydrated is None:
        allowed = "true or false; dried pollen needs humid air before a germination test"
        problems.add("rehydrated", None, allowed)
