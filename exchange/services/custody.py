"""The one way in which something is noted in the history of a lot."""

from datetime import datetime, timedelta
from typing import Any

from exchange.models import CustodyEvent, Lot, Packet
from exchange.selectors.lot_time import cut_at
from exchange.services.note_key import note_sealed
from growers.models import Grower
from growers.services.problem import Problems

Kind = CustodyEvent.Kind

CLOCK_MAY_BE_FAST = timedelta(minutes=10)
"""So far ahead of ours a phone's clock may be (judgement)."""

LONGEST_NOTE = 500


def custody_note(
    lot: Lot,
    kind: CustodyEvent.Kind,
    *,
    actor: Grower | None,
    now: datetime,
    occurred_at: datetime | None = None,
    packet: Packet | None = None,
    corrects: CustodyEvent | None = None,
    note: str = "",
    **parameters: Any,
) -> CustodyEvent:
    """Note an event in the transaction that made it; ``occurred_at`` has been checked."""
    return CustodyEvent.objects.create(
        lot=lot,
        packet=packet,
        kind=kind,
        created_at=now,
        occurred_at=occurred_at or now,
        zone=lot.plant.site.cell_zone,
        actor=actor,
        corrects=corrects,
        sealed_note=None if actor is None else note_sealed(writer=actor, text=note),
        parameters=parameters,
    )


def occurred_check(
    lot: Lot, occurred_at: datetime, now: datetime, problems: Problems, *, name: str = "occurred_at"
) -> None:
    """Note an instant that lies ahead, or before the lot's anthers were cut."""
    first = cut_at(lot)
    if occurred_at > now + CLOCK_MAY_BE_FAST:
        problems.add(name, occurred_at.isoformat(), f"up to now, {now.isoformat(timespec='minutes')}")
    elif occurred_at < first:
        problems.add(name, occurred_at.isoformat(), f"since it was collected, {first.isoformat()}")


def note_check(note: str, problems: Problems) -> None:
    """Note a text that is too long."""
    if len(note) > LONGEST_NOTE:
        problems.add("note", note, f"at most {LONGEST_NOTE} characters")
