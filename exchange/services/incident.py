"""Incidents: what went wrong with a store or a lot; every lot it touched is told of and reckoned anew."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from exchange.models import CustodyEvent, Incident, Lot, Packet, Stay, Store
from exchange.science import constants
from exchange.selectors.lot_time import cut_at
from exchange.services.custody import CLOCK_MAY_BE_FAST, custody_note, note_check, occurred_check
from exchange.services.lot import own_lot
from exchange.services.lot_acting import OVER
from exchange.services.lot_tell import concerned, custody_tell
from exchange.services.outlook import outlook_renew, outlooks_renew_later
from exchange.services.store import own_store
from growers import clock
from growers.errors import InvalidInput, NotFound
from growers.models import Grower
from growers.services.problem import Problems

ASSUMED_C = {
    Incident.Kind.SWITCHED_OFF: constants.SWITCHED_OFF_TEMPERATURE_C,
    Incident.Kind.THAWED: constants.SWITCHED_OFF_TEMPERATURE_C,
    Incident.Kind.LEFT_OUT: constants.LEFT_OUT_TEMPERATURE_C,
}
"""How warm it got where nobody says; getting damp warms nothing."""

LONGEST_HOURS = 24.0 * 60


@dataclass(frozen=True)
class WhatHappened:
    """An incident as told: ``hours`` from ``began_at``; what is None was not stated."""

    kind: str
    began_at: datetime | None = None
    hours: float = 0.0
    temperature_c: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Touched:
    """One lot, or one packet of it, that an incident touched."""

    lot: Lot
    packet: Packet | None


def store_incident(*, actor: Grower, store: Store, happened: WhatHappened) -> list[Lot]:
    """Note an incident of one's own store; it touches every lot and packet that lay in it then.

    Each lot's partners are told once, however many lots they have a part in. Returns the lots.
    """
    now = clock.now()
    with transaction.atomic():
        own = own_store(actor, store)
        incident = _incident(happened, actor, now)
        incident.store = own
        problems = Problems()
        if incident.began_at > now + CLOCK_MAY_BE_FAST:
            problems.add("began_at", incident.began_at.isoformat(), f"up to now, {now.isoformat()}")
        _refuse(happened, problems)
        incident.save()
        touched = list(_touched(incident))
        _note(incident, touched, happened.note, now)
    return _renewed(touched)


def lot_incident(*, actor: Grower, lot: Lot, happened: WhatHappened) -> Lot:
    """Note an incident of one's own lot; its partners are told."""
    now = clock.now()
    with transaction.atomic():
        own = own_lot(actor, lot)
        incident = _incident(happened, actor, now)
        incident.lot = own
        problems = Problems()
        occurred_check(own, incident.began_at, now, problems, name="began_at")
        _refuse(happened, problems)
        incident.save()
        touched = [Touched(own, None)]
        _note(incident, touched, happened.note, now)
    return _renewed(touched)[0]


def packet_incident(*, actor: Grower, packet: Packet, happened: WhatHappened) -> Packet:
    """Note an incident of a packet that one holds; the lot's grower is told."""
    now = clock.now()
    with transaction.atomic():
        rows = Packet.objects.select_related(
            "lot__plant__site", "lot__plant__grower", "lot__store", "lot__offer"
        )
        own = rows.filter(pk=packet.pk, holder=actor).first()
        if own is None:
            raise NotFound("There is no such packet.")
        incident = _incident(happened, actor, now)
        incident.lot, incident.packet = own.lot, own
        problems = Problems()
        occurred_check(own.lot, incident.began_at, now, problems, name="began_at")
        _refuse(happened, problems)
        incident.save()
        touched = [Touched(own.lot, own)]
        _note(incident, touched, happened.note, now)
    _renewed(touched)
    return own


def _incident(happened: WhatHappened, actor: Grower, now: datetime) -> Incident:
    if happened.kind not in Incident.Kind.values:
        raise InvalidInput(f"kind is {happened.kind!r}; allowed: {', '.join(Incident.Kind.values)}.")
    kind = Incident.Kind(happened.kind)
    hours = min(max(happened.hours, 0.0), LONGEST_HOURS)
    began = happened.began_at or now - timedelta(hours=hours)
    return Incident(
        kind=kind,
        began_at=began,
        ended_at=min(began + timedelta(hours=hours), max(now, began)),
        temperature_c=_temperature_c(kind, happened.temperature_c),
        reported_by=actor,
    )


def _temperature_c(kind: Incident.Kind, stated: float | None) -> float | None:
    if kind == Incident.Kind.GOT_DAMP:
        return None
    return ASSUMED_C[kind].value if stated is None else stated


def _refuse(happened: WhatHappened, problems: Problems) -> None:
    low, high = constants.READING_MINIMUM_C.value, constants.READING_MAXIMUM_C.value
    if not 0.0 <= happened.hours <= LONGEST_HOURS:
        problems.add("hours", happened.hours, f"0 to {LONGEST_HOURS:g}")
    if happened.temperature_c is not None and not low <= happened.temperature_c <= high:
        problems.add("temperature_c", happened.temperature_c, f"{low:g} to {high:g}")
    note_check(happened.note, problems)
    problems.refuse_if_any()


def _touched(incident: Incident) -> Iterable[Touched]:
    in_time = Q(since__lte=incident.ended_at) & (Q(until=None) | Q(until__gt=incident.began_at))
    stays = Stay.objects.filter(in_time, store=incident.store).exclude(lot__state__in=OVER)
    related = ("lot__plant__site", "lot__plant__grower", "lot__store", "lot__offer", "packet")
    seen = set()
    for stay in stays.select_related(*related).order_by("lot", "packet", "pk"):
        if (stay.lot_id, stay.packet_id) not in seen and incident.ended_at >= cut_at(stay.lot):
            seen.add((stay.lot_id, stay.packet_id))
            yield Touched(stay.lot, stay.packet)


def _note(incident: Incident, touched: Iterable[Touched], note: str, now: datetime) -> None:
    told: set[int] = set()
    for each in touched:
        event = custody_note(
            each.lot,
            CustodyEvent.Kind.INCIDENT,
            actor=incident.reported_by,
            now=now,
            occurred_at=max(incident.began_at, cut_at(each.lot)),
            packet=each.packet,
            note=note,
            incident=incident.kind,
            hours=round((incident.ended_at - incident.began_at).total_seconds() / 3600.0, 2),
            temperature_c=incident.temperature_c,
        )
        others = [grower for grower in _who_hears(each) if grower.pk not in told]
        custody_tell(event, [grower for grower in others if grower.pk != incident.reported_by_id])
        told |= {grower.pk for grower in others}
    outlooks_renew_later({each.lot.pk: each.lot for each in touched}.values(), now)


def _who_hears(touched: Touched) -> list[Grower]:
    """All whom the lot concerns; of a packet that another has, only that one and the lot's grower."""
    growers, owner = concerned(touched.lot), touched.lot.plant.grower_id
    if touched.packet is None or touched.packet.holder_id == owner:
        return growers
    return [grower for grower in growers if grower.pk in (touched.packet.holder_id, owner)]


def _renewed(touched: Iterable[Touched]) -> list[Lot]:
    lots = list({each.lot.pk: each.lot for each in touched}.values())
    for lot in lots:
        outlook_renew(lot)
    return lots
