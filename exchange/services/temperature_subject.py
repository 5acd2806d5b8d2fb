"""Whose temperatures somebody may add, and what follows once they are added."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from exchange.models import CustodyEvent, Lot, Packet, TemperatureUpload
from exchange.selectors.lot_outlook import LotState
from exchange.selectors.lot_record import lots_loaded
from exchange.services.assay import dates_moved
from exchange.services.custody import custody_note
from exchange.services.lot_tell import concerned, custody_tell
from exchange.services.outlook import outlooks_renew_later
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower


@dataclass(frozen=True)
class OfWhat:
    """Whose temperatures they are to be: a loaded lot or a packet of it, when, and who says so."""

    actor: Grower
    lot: Lot
    packet: Packet | None
    now: datetime


def of_what(actor: Grower, lot: Lot, packet: Packet | None) -> OfWhat:
    """Whose temperatures the actor may add: of their own lot, of a packet that they hold or that is for them.

    Raises ``NotFound`` for others, ``Conflict`` for a partner who has no part in just this.
    """
    (loaded,) = lots_loaded([lot])
    if not (_is_owner(actor, loaded) if packet is None else _is_theirs(actor, loaded, packet)):
        if actor in concerned(loaded):
            raise Conflict(
                "Who has the pollen says how warm it was: the lot's grower, or who has the packet."
            )
        raise NotFound("There is no such lot.")
    return OfWhat(actor, loaded, packet, clock.now())


def temperature_noted(
    what: OfWhat, upload: TemperatureUpload, before: LotState, after: LotState, **parameters: Any
) -> None:
    """Note it in the history, tell all whom it concerns, the actor too, and have the dates reckoned."""
    event = custody_note(
        what.lot,
        CustodyEvent.Kind.TEMPERATURE_READ,
        actor=what.actor,
        now=what.now,
        occurred_at=min(upload.ended_at, what.now),
        packet=what.packet,
        **dates_moved(before, after),
        **parameters,
    )
    custody_tell(event, _told(what))
    outlooks_renew_later([what.lot], what.now)


def _is_owner(actor: Grower, lot: Lot) -> bool:
    return lot.plant.grower_id == actor.pk


def _is_theirs(actor: Grower, lot: Lot, packet: Packet) -> bool:
    is_for = packet.agreement is not None and packet.agreement.recipient_id == actor.pk
    return packet.lot_id == lot.pk and (packet.holder_id == actor.pk or is_for)


def _told(what: OfWhat) -> Iterable[Grower]:
    """Everybody whom the lot concerns; of a packet only its lot's grower, its holder and its recipient."""
    packet = what.packet
    everybody = concerned(what.lot)
    if packet is None:
        return everybody
    keys = {what.lot.plant.grower_id, packet.holder_id}
    keys |= set() if packet.agreement is None else {packet.agreement.recipient_id}
    return [grower for grower in everybody if grower.pk in keys]
