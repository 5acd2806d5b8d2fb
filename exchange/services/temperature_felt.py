"""Without a logger: how a lot or a packet felt in the hand, cold, cool or warm."""

from datetime import datetime

from django.db import transaction

from exchange.models import Lot, Packet, Stay, TemperatureUpload
from exchange.selectors.lot_outlook import lot_state, with_upload
from exchange.selectors.lot_record import lot_record
from exchange.services.custody import occurred_check
from exchange.services.outlook import outlook_renew
from exchange.services.temperature_subject import OfWhat, of_what, temperature_noted
from growers.models import Grower
from growers.services.problem import Problems


def temperature_felt(
    *,
    actor: Grower,
    lot: Lot,
    felt: str,
    packet: Packet | None = None,
    began_at: datetime | None = None,
    ended_at: datetime | None = None,
) -> TemperatureUpload:
    """Note how it felt, from when to when; of a packet, its time on the way unless stated otherwise.

    The lot's grower and partners are told, each once. Raises ``NotFound`` for others, ``InvalidInput`` for a
    time that cannot be.
    """
    what = of_what(actor, lot, packet)
    upload = _upload(what, felt, began_at, ended_at)
    before = lot_state(lot_record(what.lot, what.now, packet))
    after = with_upload(before, upload)
    with transaction.atomic():
        upload.save()
        temperature_noted(what, upload, before, after, felt=felt)
    outlook_renew(what.lot)
    return upload


def _upload(
    what: OfWhat, felt: str, began_at: datetime | None, ended_at: datetime | None
) -> TemperatureUpload:
    problems = Problems()
    if felt not in TemperatureUpload.Felt.values:
        problems.add("felt", felt, ", ".join(TemperatureUpload.Felt.values))
    first, last = _times(what, began_at, ended_at)
    for name, at in (("began_at", first), ("ended_at", last)):
        occurred_check(what.lot, at, what.now, problems, name=name)
    if first > last:
        problems.add("ended_at", last.isoformat(), f"after {first.isoformat()}")
    elif first == last:
        problems.add("began_at", None, f"an instant before {last.isoformat()}")
    if what.packet and first < what.packet.filled_at:
        problems.add(
            "began_at", first.isoformat(), f"since it was filled, {what.packet.filled_at.isoformat()}"
        )
    problems.refuse_if_any()
    return TemperatureUpload(
        lot=what.lot,
        packet=what.packet,
        felt=felt,
        began_at=first,
        ended_at=last,
        uploaded_by=what.actor,
        created_at=what.now,
    )


def _times(what: OfWhat, began_at: datetime | None, ended_at: datetime | None) -> tuple[datetime, datetime]:
    """From when to when; the same instant twice where nobody said when it began."""
    way = None
    if what.packet is not None:
        way = Stay.objects.filter(packet=what.packet, store=None).order_by("-since").first()
    last = ended_at or (way.until if way and way.until else what.now)
    return began_at or (way.since if way else last), last
