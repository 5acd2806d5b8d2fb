"""What the measured server serves: one grower's pairings.

One is reckoned in earnest; the others are the same plan for other plants of its donor.
"""

from copy import copy
from uuid import uuid4

from exchange.models import Offer, Pairing
from exchange.services.api_token import token_create
from exchange.services.matching import matching_run
from exchange.services.offer import offer_in_hand_create
from exchange.services.wanted_cross import wanted_cross_create
from growers import clock
from growers.models import Plant
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_create
from growers.services.plant import plant_create
from growers.services.reference import reference_load
from growers.services.site import SiteFields, site_create

PAIRINGS = 50
DONOR_SITE: SiteFields = {"name": "pond", "country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
RECIPIENT_SITE: SiteFields = {
    "name": "pond",
    "country": "DE",
    "latitude_deg": 48.25,
    "longitude_deg": 11.75,
    "water": "glass",
}


def seed() -> str:
    """Give one recipient so many pairings; the secret of a token of theirs and the id of their plant."""
    reference_load()
    seed_parent = _plant("recipient", RECIPIENT_SITE)
    recipient = seed_parent.grower
    # All year, so that there are pairings whenever it is measured.
    bloom_said_set(actor=recipient, plant=seed_parent, all_year=True)
    wanted_cross_create(actor=recipient, seed_parent=seed_parent, flowers=4)
    given = _plant("donor", DONOR_SITE)
    _offer(given)
    (reckoned,) = matching_run(today=clock.now().date()).pairings
    Pairing.objects.bulk_create(_for(reckoned, _offer(_another(given))) for _ in range(1, PAIRINGS))
    made = token_create(actor=recipient, name="benchmark", scopes=["read"], lifetime_days=1)
    return f"{made.secret} {seed_parent.public_id}"


def _plant(handle: str, where: SiteFields) -> Plant:
    """A hardy plant of a new grower."""
    grower = grower_create(handle=handle)
    site = site_create(actor=grower, **where)
    return plant_create(
        actor=grower, site=site, name_as_grown=f"'{handle.title()}'", group="hardy", diel="day"
    )


def _another(plant: Plant) -> Plant:
    """One like it at the same site."""
    name = plant.name_as_grown
    return plant_create(actor=plant.grower, site=plant.site, name_as_grown=name, group="hardy", diel="day")


def _offer(plant: Plant) -> Offer:
    """Pollen collected today, posted to the recipient's country too."""
    return offer_in_hand_create(
        actor=plant.grower,
        plant=plant,
        collected_on=clock.today(plant.site.cell_zone),
        store="refrigerator",
        treatment="dried",
        doses=4,
        countries=[RECIPIENT_SITE["country"]],
    )


def _for(pairing: Pairing, offer: Offer) -> Pairing:
    """The same pairing for another offer."""
    other = copy(pairing)
    other.pk, other.public_id, other.offer = None, uuid4(), offer
    return other
