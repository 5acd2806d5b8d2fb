"""A donor and a recipient abroad with a pairing that stands, up to the second yes and beyond."""

from dataclasses import dataclass, field
from typing import Any

from django.db.models import Sum

from exchange.models import Agreement, Offer, Pairing, Supply
from exchange.services.agreement import agreement_accept, agreement_propose
from exchange.services.papers_statement import statement_make
from growers.models import Grower
from tests.exchange.society import FRANCE, GERMANY, TODAY, make_pairing
from tests.factories import make_offer, make_plant, make_site, make_taxon, make_wanted_cross


@dataclass
class Bargain:
    """One offer of the donor's with as many doses as stated, and pairings of wanted crosses with it."""

    donor: Grower
    offer: Offer
    pairings: list[Pairing] = field(default_factory=list)

    @property
    def pairing(self) -> Pairing:
        return self.pairings[0]

    def wanted_by(self, grower: Grower, *, flowers: int = 4, **changes: Any) -> Pairing:
        """Another grower abroad wants it: a pairing more."""
        seed = make_plant(grower, site=make_site(grower, **GERMANY), name_as_grown=f"seed of {grower.handle}")
        pairing = make_pairing(self.offer, make_wanted_cross(seed, flowers=flowers), **changes)
        self.pairings.append(pairing)
        return pairing

    def supply(self) -> Supply:
        """The one supply of the offer."""
        return Supply.objects.get(offer=self.offer)


def make_bargain(donor: Grower, recipient: Grower, *, doses: int = 4, **offered: Any) -> Bargain:
    """One offer on request and one pairing; the clock must stand at the society's noon or later."""
    make_taxon(name="hardy", rank="group", group="hardy", diel="day")
    given = make_plant(donor, site=make_site(donor, **FRANCE), name_as_grown="'Ferry'")
    bargain = Bargain(donor, make_offer(given, doses=doses, countries=["DE"], **offered))
    bargain.wanted_by(recipient)
    return bargain


def propose(pairing: Pairing, *, doses: int = 2, actor: Grower | None = None, **yes: Any) -> Agreement:
    """The recipient's first yes with all terms ticked, or the donor's, posted from home."""
    recipient = pairing.wanted_cross.seed_parent.grower
    said = actor or recipient
    return agreement_propose(actor=said, pairing=pairing, doses=doses, **{**usual_yes(said, pairing), **yes})


def accept(agreement: Agreement, **yes: Any) -> Agreement:
    """The second yes of whoever has not said the first."""
    first = agreement.proposed_by_id
    other = agreement.donor if first == agreement.recipient_id else agreement.recipient
    return agreement_accept(
        actor=other, agreement=agreement, **{**usual_yes(other, agreement.pairing), **yes}
    )


def agree(pairing: Pairing, *, doses: int = 2) -> Agreement:
    """Both have said yes."""
    return accept(propose(pairing, doses=doses))


def usual_yes(grower: Grower, pairing: Pairing) -> dict[str, Any]:
    """What belongs to a yes of this side."""
    if grower.pk == pairing.offer.plant.grower_id:
        return {"post_from": "home"}
    return {"terms": [term["key"] for term in pairing.offer.terms]}


def state_papers(agreement: Agreement) -> None:
    """Both sides have stated what a parcel across a border needs."""
    statement_make(
        actor=agreement.donor,
        agreement=agreement,
        botanical_name="Nymphaea hybrid",
        origin="cultivated",
        free_of_soil_water_insects=True,
        rights="not_known",
    )
    statement_make(
        actor=agreement.recipient,
        agreement=agreement,
        papers="not_needed",
        asked_whom="the plant-health office",
        asked_on=TODAY,
        answer="not for pollen, they say",
    )


def assert_sums_hold() -> None:
    """Every counter equals the sum of its reservations, and nothing is promised twice."""
    for supply in Supply.objects.all():
        rows = supply.reservations.values("state").annotate(doses=Sum("doses"))
        sums = {row["state"]: row["doses"] for row in rows}
        assert supply.reserved == sums.get("active", 0)
        assert supply.sent == sums.get("used", 0)
        assert supply.kept_back + supply.reserved + supply.sent <= supply.total
