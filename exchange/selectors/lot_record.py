"""All that is on record of what lots and packets went through, read in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q, QuerySet

from exchange.models import Assay, Incident, Lot, Packet, Stay, TemperatureUpload


@dataclass(frozen=True)
class History:
    """What happened to one thing, a lot or a packet, each list in order of time."""

    stays: Sequence[Stay] = ()
    incidents: Sequence[Incident] = ()
    temperatures: Sequence[TemperatureUpload] = ()
    assays: Sequence[Assay] = ()


@dataclass(frozen=True)
class LotRecord:
    """A lot, or one packet of it, as it stands at an instant; ``own`` is the packet's history.

    A packet shares the history of its lot up to the instant at which it was filled.
    """

    lot: Lot
    now: datetime
    shared: History
    packet: Packet | None = None
    own: History = field(default_factory=History)


def lots_loaded(lots: Iterable[Lot] | QuerySet[Lot]) -> list[Lot]:
    """Rows with what their records need, read anew."""
    keys = [lot.pk for lot in lots]
    rows = Lot.objects.filter(pk__in=keys).order_by("pk")
    return list(rows.select_related("plant__site", "plant__taxon", "plant__grower", "store", "offer"))


def lot_records(lots: Sequence[Lot], now: datetime) -> list[LotRecord]:
    """Records of loaded lots themselves; four queries for all."""
    histories = _histories({lot.pk for lot in lots}, packets=False)
    return [LotRecord(lot, now, histories[lot.pk, None]) for lot in lots]


def lot_record(lot: Lot, now: datetime, packet: Packet | None = None) -> LotRecord:
    """The record of one loaded lot, or of a packet of it; four queries."""
    histories = _histories({lot.pk}, packets=packet is not None)
    if packet is None:
        return LotRecord(lot, now, histories[lot.pk, None])
    return LotRecord(lot, now, histories[lot.pk, None], packet, histories[lot.pk, packet.pk])


Key = tuple[int, int | None]


def _histories(lots: set[int], *, packets: bool) -> dict[Key, History]:
    which = Q(lot__in=lots) if packets else Q(lot__in=lots, packet=None)
    stays = list(Stay.objects.filter(which).select_related("store").order_by("since", "pk"))
    temperatures = (
        TemperatureUpload.objects.filter(which)
        .defer("photo", "findings")
        .select_related("packet")
        .order_by("began_at", "pk")
    )
    assays = Assay.objects.filter(which).order_by("tested_at", "pk")
    found: dict[Key, History] = defaultdict(History)
    by_stay = _by_key(stays)
    incidents = _incidents(which, stays)
    read, tested = _by_key(temperatures), _by_key(assays)
    for key in by_stay.keys() | incidents.keys() | read.keys() | tested.keys():
        found[key] = History(by_stay[key], incidents[key], read[key], tested[key])
    return found


def _by_key(rows: Iterable[Stay] | Iterable[TemperatureUpload] | Iterable[Assay]) -> dict[Key, list]:  # type: ignore[type-arg]
    found: dict[Key, list] = defaultdict(list)  # type: ignore[type-arg]
    for row in rows:
        found[row.lot_id, row.packet_id].append(row)
    return found


def _incidents(which: Q, stays: Sequence[Stay]) -> dict[Key, list[Incident]]:
    """Incidents of each thing: its own, and those of a store while it lay there."""
    stores = {stay.store_id for stay in stays if stay.store_id is not None}
    rows = Incident.objects.filter(which | Q(store__in=stores)).order_by("began_at", "pk")
    found: dict[Key, list[Incident]] = defaultdict(list)
    for row in rows:
        if row.lot_id is not None:
            found[row.lot_id, row.packet_id].append(row)
        else:
            for key in {_key(stay) for stay in stays if _was_touched(stay, row)}:
                found[key].append(row)
    return found


def _key(stay: Stay) -> Key:
    return stay.lot_id, stay.packet_id


def _was_touched(stay: Stay, incident: Incident) -> bool:
    in_time = stay.since <= incident.ended_at and (stay.until is None or stay.until > incident.began_at)
    return stay.store_id == incident.store_id and in_time
