"""A gathering of a steward in Germany, and a packet from France that goes by way of it."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from exchange.models import Agreement, Detour, Gathering, Packet, Shipment, Store
from exchange.selectors.plan_record import plan_record
from exchange.services.detour import detour_accept, detour_ask, detour_yes
from exchange.services.gathering import gathering_create
from exchange.services.packet import packet_fill
from exchange.services.shipment import shipment_dispatch, shipment_plan, shipment_receive
from exchange.services.store import store_of_kind
from growers.models import Grower, Site
from growers.services.bloom import bloom_said_set
from growers.services.site import SiteFields
from tests.exchange.bargain import agree, state_papers
from tests.exchange.plan import a_plan
from tests.exchange.society import (
    FRANCE,
    GERMANY,
    NOON,
    SUMMER,
    TODAY,
    Society,
    make_pairing,
    make_society,
)
from tests.factories import make_offer_in_hand, make_plant, make_site, make_wanted_cross

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


def site_at(grower: Grower, name: str, place: SiteFields, *, keep_exact: bool = False) -> Site:
    """A site with a name of its own at a place."""
    stated: SiteFields = {**place, "name": name}
    return make_site(grower, keep_exact=keep_exact, **stated)


def make_deal(
    donor: Grower, recipient: Grower, *, home: SiteFields = FRANCE, there: SiteFields = GERMANY
) -> Agreement:
    """An agreement across a border about a dose in hand, with a recipient whose plant flowers."""
    number = Agreement.objects.count()
    given = make_plant(donor, site=site_at(donor, f"pond {number}", home), number=f"given {number}")
    seed_site = site_at(recipient, f"lake {number}", there)
    seed = make_plant(recipient, site=seed_site, number=f"seed {number}")
    bloom_said_set(actor=recipient, plant=seed, **SUMMER)
    offer = make_offer_in_hand(given, date(2027, 6, 28), countries=[there["country"]])
    wanted = make_wanted_cross(seed, flowers=4, least_chance=0.0007)
    return agree(make_pairing(offer, wanted), doses=1)


def make_gathering(steward: Grower, **said: Any) -> Gathering:
    """Parcels of the next four weeks for Germany; three days before they go on."""
    site = said.pop("site", None) or site_at(steward, "steward's", BERLIN)
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


def make_detour(gathering: Gathering, agreement: Agreement) -> Detour:
    """A place that was asked for, as a row without any science."""
    plan = plan_record(a_plan())
    told = {"direct": plan["each_flower"], "by_way": plan["each_flower"]}
    return Detour.objects.create(
        gathering=gathering,
        agreement=agreement,
        recipient_yes_at=NOON,
        told=told,
        plan=plan,
        planned_on=TODAY,
    )
