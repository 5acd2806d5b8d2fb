"""A parcel of a donor in France for a recipient in Germany, and what becomes of it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from exchange.models import Agreement, Lot, Notification, Packet, Shipment, Store
from exchange.selectors.notification import notification_for, notifications_of
from exchange.services.collection import offer_collect
from exchange.services.packet import packet_fill
from exchange.services.shipment import shipment_dispatch, shipment_plan, shipment_receive
from exchange.services.store import store_of_kind
from growers.models import Grower
from tests.exchange.bargain import Bargain, agree, make_bargain, state_papers
from tests.exchange.society import TODAY


@dataclass
class Sending:
    """An agreement with stated papers about doses of a lot, and a packet that waits for a parcel."""

    bargain: Bargain
    agreement: Agreement
    lot: Lot
    packet: Packet

    @property
    def donor(self) -> Grower:
        return self.agreement.donor

    @property
    def recipient(self) -> Grower:
        return self.agreement.recipient

    @property
    def home(self) -> Store:
        """Where the recipient puts packets."""
        return store_of_kind(self.recipient, "refrigerator")

    def plan(self, **said: Any) -> Shipment:
        return shipment_plan(actor=self.donor, agreement=self.agreement, **said)

    def fill(self) -> Packet:
        """One more packet."""
        return packet_fill(actor=self.donor, lot=self.lot, doses=1, agreement=self.agreement)

    def dispatch(self, shipment: Shipment | None = None, at: datetime | None = None) -> Shipment:
        return shipment_dispatch(actor=self.donor, shipment=shipment or self.plan(), occurred_at=at)

    def receive(self, shipment: Shipment, **said: Any) -> Shipment:
        return shipment_receive(actor=self.recipient, shipment=shipment, store=self.home, **said)


def make_sending(donor: Grower, recipient: Grower, *, papers: bool = True, doses: int = 4) -> Sending:
    """The clock must stand at the society's noon or later; the packet holds one of two doses promised."""
    bargain = make_bargain(donor, recipient, doses=doses)
    agreement = agree(bargain.pairing)
    if papers:
        state_papers(agreement)
    lot = offer_collect(
        actor=donor, offer=bargain.offer, doses=doses, collected_on=TODAY, store="refrigerator"
    )
    packet = packet_fill(actor=donor, lot=lot, doses=1, agreement=agreement)
    store_of_kind(recipient, "refrigerator")
    return Sending(bargain, agreement, lot, packet)


def told(grower: Grower, kind: Notification.Kind = Notification.Kind.AGREEMENT) -> list[str]:
    """What a grower was told, in order."""
    rows = notifications_of(grower).filter(kind=kind).order_by("pk")
    return [notification_for(row).detail for row in rows]


def forget() -> None:
    """What was told up to here."""
    Notification.objects.all().delete()
