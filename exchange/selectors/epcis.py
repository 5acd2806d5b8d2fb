"""The history of a lot as an EPCIS 2.0 document: regions as others may read them, no growers, no notes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from exchange.models import CustodyEvent, Lot
from exchange.selectors.lot_time import cut_at
from exchange.wording.epcis import deed_of, instant, offset, region_uri, sensor_element, step_uri
from growers.selectors.site import region

Kind = CustodyEvent.Kind
Event = dict[str, Any]

CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
COLLECTING = {
    "flowers_emptied": "flowersEmptied",
    "flower_day": "flowerDay",
    "netted_before_opening": "nettedBeforeOpening",
}
"""What is told of the collecting besides its time, by its name in the document."""

CORRIGIBLE = (*COLLECTING, "collected_on", "collected_hour")


def epcis_document(lot: Lot, events: Sequence[CustodyEvent], exchange: str) -> dict[str, Any]:
    """A loaded lot's history, the first event first; ``exchange`` is the address names of ours begin with.

    The same history gives the same document: it is as old as its newest event. An event that was corrected
    stands in it as it was, declared to be wrong, and as it is right.
    """
    teller = _Teller(lot, events, exchange)
    told = [each for event in events for each in teller.told(event)]
    return {
        "@context": [CONTEXT, {"pollen": f"{exchange}/epcis/term/"}],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": instant(max((event.created_at for event in events), default=lot.created_at)),
        "epcisBody": {"eventList": told},
    }


@dataclass(frozen=True)
class _Collecting:
    """What was held of the collecting from one event on, until that was corrected."""

    event: CustodyEvent
    at: datetime
    facts: dict[str, Any]


class _Teller:
    """Tells the events of one lot."""

    def __init__(self, lot: Lot, events: Sequence[CustodyEvent], exchange: str) -> None:
        self.lot, self.exchange = lot, exchange
        self.region = region_uri(region(lot.plant.site), exchange)
        self.collectings = _collectings(lot, events)

    def told(self, event: CustodyEvent) -> list[Event]:
        """One event, or of a correction two."""
        if event.kind == Kind.COLLECTED:
            return [self._collected(self.collectings[0])]
        if event.kind != Kind.CORRECTED:
            return [self._happened(event)]
        place = [each.event.pk for each in self.collectings].index(event.pk)
        wrong, right = self.collectings[place - 1 : place + 1]
        declared = {
            "declarationTime": instant(event.created_at),
            "reason": "incorrect_data",
            "correctiveEventIDs": [_uuid(event.public_id)],
        }
        return [{**self._collected(wrong), "errorDeclaration": declared}, self._collected(right)]

    def _collected(self, collecting: _Collecting) -> Event:
        facts = {
            f"pollen:{name}": collecting.facts[field]
            for field, name in COLLECTING.items()
            if collecting.facts[field] is not None
        }
        told = self._happened(self.collectings[0].event)
        event = collecting.event
        when = {"eventTime": instant(collecting.at), "recordTime": instant(event.created_at)}
        when["eventTimeZoneOffset"] = offset(collecting.at, event.zone)
        return {**told, "eventID": _uuid(event.public_id), **when, **({"ilmd": facts} if facts else {})}

    def _happened(self, event: CustodyEvent) -> Event:
        deed = deed_of(event)
        told = {**self._when(event), **self._what(event, deed.action)}
        told["bizStep"] = step_uri(deed.step, self.exchange)
        if deed.disposition:
            told["disposition"] = deed.disposition
        # Where a partner is, is told to nobody.
        if event.actor_id == self.lot.plant.grower_id:
            told["readPoint"] = {"id": self.region}
        if (measured := sensor_element(event.parameters, self.exchange)) is not None:
            told["sensorElementList"] = [measured]
        return told

    def _when(self, event: CustodyEvent) -> Event:
        return {
            "type": "TransformationEvent" if event.kind == Kind.PACKET_FILLED else "ObjectEvent",
            "eventID": _uuid(event.public_id),
            "eventTime": instant(event.occurred_at),
            "eventTimeZoneOffset": offset(event.occurred_at, event.zone),
            "recordTime": instant(event.created_at),
        }

    def _what(self, event: CustodyEvent, action: str) -> Event:
        lot, packet = _uuid(self.lot.public_id), event.packet
        if event.kind == Kind.PACKET_FILLED and packet is not None:
            return {"inputEPCList": [lot], "outputEPCList": [_uuid(packet.public_id)]}
        return {"action": action, "epcList": [lot if packet is None else _uuid(packet.public_id)]}


def _collectings(lot: Lot, events: Iterable[CustodyEvent]) -> list[_Collecting]:
    """What was held of the collecting from its event and from each correction on, the first first."""
    events = sorted(events, key=lambda event: (event.created_at, event.pk))
    stated = [event for event in events if event.kind in (Kind.COLLECTED, Kind.CORRECTED)]
    facts = {name: getattr(lot, name) for name in CORRIGIBLE}
    found: list[_Collecting] = []
    for event in reversed(stated):
        at = event.occurred_at if event.kind == Kind.COLLECTED else _cut_at(lot, facts, event)
        found.insert(0, _Collecting(event, at, facts))
        facts = {**facts, **event.parameters.get("before", {})}
    return found


def _cut_at(lot: Lot, facts: dict[str, Any], event: CustodyEvent) -> datetime:
    """When the anthers were cut by these facts, not after they were told."""
    day, hour = facts["collected_on"], facts["collected_hour"]
    on = date.fromisoformat(day) if isinstance(day, str) else day
    return min(cut_at(Lot(plant=lot.plant, collected_on=on, collected_hour=hour)), event.created_at)


def _uuid(public_id: UUID) -> str:
    return f"urn:uuid:{public_id}"
