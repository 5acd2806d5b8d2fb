"""Deals of one grower, as many of each kind as asked for."""

from collections.abc import Sequence
from typing import Any

from exchange.models import Notification, Pairing, QuietAsk
from exchange.services.address import address_set
from exchange.services.agreement_address import address_read
from exchange.services.agreement_note import note_report, note_write
from exchange.services.block import block_create
from exchange.services.border_note import border_note_propose
from exchange.services.packet import packet_fill
from exchange.services.shipment import shipment_plan
from growers.models import Grower
from growers.services.grower import grower_update
from tests.api.bulk import copies
from tests.exchange.bargain import agree, state_papers
from tests.exchange.gathered import make_detour, make_gathering
from tests.exchange.society import NOON, TODAY
from tests.factories import make_grower, make_plant


class ManyDeals:
    """An agreement in which the grower is the recipient, and what belongs to it; questions, blocks, notes.

    In another one, of the pairing ``given``, the grower is the donor.
    """

    def __init__(self, grower: Grower, other: Grower, pairing: Pairing, given: Pairing) -> None:
        self.grower, self.other = grower, other
        for each in (grower, other):
            address_set(actor=each, name="A. Grower", lines=["1 Weir Road"], town="Pondville", country="FR")
        self.agreement, self.given = agree(pairing), agree(given)
        state_papers(self.agreement)
        lot = given.offer.lots.get()
        self.packet = packet_fill(actor=grower, lot=lot, doses=1, agreement=self.given)
        self.shipment = shipment_plan(actor=grower, agreement=self.given, contents=["silica_gel"])
        self.packet.refresh_from_db()
        self.packets = 0
        address_read(actor=other, agreement=self.agreement)
        self.view = self.agreement.address_views.get()
        note = note_write(actor=other, agreement=self.agreement, text="It opens at eight.")
        self.note = note_report(actor=grower, note=note, reason="a threat")
        self.border_note = border_note_propose(
            actor=grower,
            kind="conditions",
            taxon=pairing.wanted_cross.pollen_taxa.get(),
            destination="FR",
            text="ask first",
            source="a page",
            asked_whom="an office",
            checked_on=TODAY,
        )
        self.stranger = make_grower("stranger")
        self.gathering = make_gathering(make_grower("keeper"))
        self.detour = make_detour(self.gathering, self.agreement)
        self.block = block_create(actor=grower, blocked=self.stranger)
        grower_update(actor=grower, may_be_asked=True)
        self.unoffered = make_plant(grower)

    @property
    def rows(self) -> dict[str, Any]:
        """The row that is read, by where its kind stands in addresses."""
        return {
            "agreements": self.agreement,
            "agreements/address-label": self.given,
            "agreement-notes": self.note,
            "border-notes": self.border_note,
            "blocks": self.block,
            "shipments": self.shipment,
            "gatherings": self.gathering,
            "agreements/detour": self.agreement,
        }

    def grow(self, given: Sequence[Pairing], taken: Sequence[Pairing], new: Sequence[int]) -> None:
        """An agreement for each of these pairings, and so many of everything else."""
        sides = {"donor_id": self.grower.pk, "recipient_id": self.other.pk}
        agreements = self._agreements(given, **sides)
        self._parcels(agreements)
        copies(self.gathering, new)
        copies(self.detour, range(len(agreements)), agreement_id=agreements.__getitem__)
        self._agreements(taken)
        copies(self.note, new)
        copies(self.view, new)
        copies(self.border_note, new)
        growers = copies(
            self.stranger,
            new,
            handle="stranger {}".format,
            handle_skeleton="stranger {}".format,
            email="stranger-{}@example.org".format,
        )
        keys = dict(zip(new, (each.pk for each in growers), strict=True))
        copies(self.block, new, blocked_id=keys.__getitem__)
        plants = copies(self.unoffered, new, number="unoffered {}".format)
        keys = dict(zip(new, (plant.pk for plant in plants), strict=True))
        ask = QuietAsk(wanted_cross=given[0].wanted_cross, created_at=NOON)
        copies(ask, new, plant_id=keys.__getitem__)

    def _agreements(self, pairings: Sequence[Pairing], **sides: int) -> list[int]:
        """With doses reserved, and told to the grower; their keys."""
        numbers = range(len(pairings))
        same = ("offer_id", "wanted_cross_id")
        columns = {name: [getattr(each, name) for each in pairings].__getitem__ for name in same}
        keys = [each.pk for each in pairings]
        rows = copies(self.agreement, numbers, pairing_id=keys.__getitem__, **columns, **sides)
        keys = [row.pk for row in rows]
        copies(self.agreement.reservations.get(), numbers, agreement_id=keys.__getitem__)
        for event in self.agreement.events.order_by("pk")[:2]:
            events = copies(event, numbers, agreement_id=keys.__getitem__)
            told = Notification(grower=self.grower, kind=Notification.Kind.AGREEMENT)
            copies(told, numbers, event_id=[each.pk for each in events].__getitem__)
        return keys

    def _parcels(self, agreements: Sequence[int]) -> None:
        """A planned parcel of each agreement, with a packet."""
        numbers = range(len(agreements))
        rows = copies(self.shipment, numbers, agreement_id=agreements.__getitem__)
        first = self.packet.number + 1 + self.packets
        self.packets += len(rows)
        copies(
            self.packet,
            numbers,
            number=lambda place: first + place,
            agreement_id=agreements.__getitem__,
            shipment_id=[row.pk for row in rows].__getitem__,
        )
