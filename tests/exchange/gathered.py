"""A gathering of a steward in Germany, and a packet from France that goes by way of it."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from exchange.models import Agreement, Detour, Gathering, Packet, Shipment, Store
from exchange.services.detour import detour_accept, detour_ask, detour_yes
from exchange.services.gathering import gathering_create
from exchange.services.packet import packet_fill
from exchange.services.shipment import shipment_dispatch, shipment_plan, shipment_receive
from exchange.services.store import store_of_kind
from growers.models import Grower
from growers.services.site import SiteFields
from tests.exchange.bargain import agree, state_papers
from tests.exchange.society import TODAY, Society, make_pairing, make_society
from tests.factories import make_site

BERLIN: SiteFields = {"country": "DE", "latitude_deg": 52.25, "longitude_deg": 13.25}
PERMIT = "EU-2027-4711"


@dataclass
class Gathered:
    """A recipient in Germany with an agreement about pollen from France, and an open gathering there."""

    society: Society
    gathering: Gathering
    agreement: Agreement
    packet: Packet

    @property
    def donor(self) -> Grower:
        return self.agreement.donor

    @property
    def recipient(self) -> Grower:
        return self.agreement.recipient

    @property
    def steward(self) -> Grower:
        return self.gathering.steward

    @property
    def detour(self) -> Detour:
        """The latest, as it is now."""
        return Detour.objects.filter(agreement=self.agreement).latest("pk")

    def ask(self) -> Detour:
        return detour_ask(actor=self.recipient, agreement=self.agreement, gathering=self.gathering)

    def yes(self, **said: Any) -> Detour:
        return detour_yes(actor=self.donor, agreement=self.agreement, **said)

    def accept(self) -> Detour:
        return detour_accept(actor=self.steward, agreement=self.agreement)

    def agree(self) -> Detour:
        """All three."""
        self.ask()
        self.yes()
        return self.accept()

    def home_of(self, grower: Grower) -> Store:
        return store_of_kind(grower, "refrigerator")

    def to_steward(self) -> Shipment:
        """The first leg on its way; all three have said yes."""
        planned = shipment_plan(actor=self.donor, agreement=self.agreement)
        return shipment_dispatch(actor=self.donor, shipment=planned)

    def with_steward(self) -> Shipment:
        """The first leg has come."""
        store = self.home_of(self.steward)
        return shipment_receive(actor=self.steward, shipment=self.to_steward(), store=store)

    def inland(self) -> Shipment:
        """The second leg on its way, once the first has come."""
        planned = shipment_plan(actor=self.steward, agreement=self.agreement)
        return shipment_dispatch(actor=self.steward, shipment=planned)

    def receive(self, shipment: Shipment) -> Shipment:
        """The second leg has come."""
        store = self.home_of(self.recipient)
        return shipment_receive(actor=self.recipient, shipment=shipment, store=store)


def make_gathering(steward: Grower, **said: Any) -> Gathering:
    """Parcels of the next four weeks for Germany; three days before they go on."""
    site = said.pop("site", None) or make_site(steward, name="steward's", **BERLIN)
    stated: dict[str, Any] = {
        "reach_from": TODAY,
        "reach_until": TODAY + timedelta(days=27),
        "handling_days": 3,
        "permit_number": PERMIT,
        "permit_valid_until": TODAY + timedelta(days=90),
        **said,
    }
    return gathering_create(actor=steward, site=site, **stated)


def make_gathered(donor: Grower, recipient: Grower, steward: Grower) -> Gathered:
    """The clock must stand at the society's noon or later; papers are stated, a packet waits."""
    society = make_society(donor, recipient)
    agreement = agree(make_pairing(society.offer, society.wanted), doses=2)
    state_papers(agreement)
    lot = society.offer.lots.get()
    packet = packet_fill(actor=donor, lot=lot, doses=2, agreement=agreement)
    return Gathered(society, make_gathering(steward), agreement, packet)
