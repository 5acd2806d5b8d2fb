"""Members of the society of the access matrix, and what each of them alone knows."""

from typing import Any

from exchange.models import WantedCross
from exchange.services.account import email_confirm
from growers.models import Grower, Plant
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_create
from growers.services.site import SiteFields
from tests.api.caller import PASSWORD
from tests.exchange.society import SUMMER
from tests.factories import make_plant, make_site, make_wanted_cross

VIEWERS = ("anonymous", "outsider", "partner", "ex_partner", "coordinator", "owner")
"""Owner of all that is addressed; the partner is recipient in a pairing that stands, the ex-partner in one
that is superseded; the coordinator has a site and is a steward, the outsider looks for what nobody offers."""

MEMBERS = VIEWERS[1:]
PLACES: dict[str, SiteFields] = {
    "owner": {"country": "CH", "latitude_deg": 47.123457, "longitude_deg": 8.765432},
    "partner": {
        "country": "DE",
        "latitude_deg": 48.234568,
        "longitude_deg": 11.876543,
        "region_level": "cell",
    },
    "ex_partner": {"country": "IT", "latitude_deg": 45.345679, "longitude_deg": 9.654321},
    "coordinator": {"country": "DE", "latitude_deg": 52.456789, "longitude_deg": 13.123456},
    "outsider": {"country": "NO", "latitude_deg": 60.456781, "longitude_deg": 11.543218},
}
"""The owner lets others read no more than the climate band, the partner the half-degree cell."""


def private(who: str, what: str) -> str:
    """A text that its grower alone may read."""
    return f"{what} {mark(who)}"


def mark(who: str) -> str:
    """What makes a text private."""
    return f"known to {who} alone"


def make_member(who: str) -> Grower:
    """A member who can sign in by password; others know the handle, and that not always."""
    grower = grower_create(
        handle=handle(who),
        email=f"private-{who.replace('_', '-')}@example.org",
        name=private(who, "Name"),
        credit_line=private(who, "Credit"),
        password=PASSWORD,
    )
    email_confirm(grower=grower)
    return grower


def handle(who: str) -> str:
    """What a member is called."""
    return f"pond of {who}"


def plant_of(grower: Grower, who: str, **stated: Any) -> Plant:
    """A plant of which more is on record than others may read; the first one comes with its site."""
    if not grower.sites.exists():
        place: SiteFields = {
            **PLACES[who],
            "name": private(who, "Site"),
            "nearest_town": private(who, "Town"),
        }
        make_site(grower, keep_exact=True, **place)
    known = {
        "number": private(who, "7"),
        "health_seen": private(who, "Health"),
        "fertility_evidence": private(who, "Evidence"),
    }
    return make_plant(grower, pollen_fertility="yes", **{**known, **stated})


def seed_of(grower: Grower, who: str, name: str, **stated: Any) -> Plant:
    """A plant in bloom in summer."""
    seed = plant_of(grower, who, name_as_grown=name, **stated)
    bloom_said_set(actor=grower, plant=seed, **SUMMER)
    return seed


def asked_for(seed: Plant, who: str, **wanted: Any) -> WantedCross:
    """A wanted cross on it."""
    return make_wanted_cross(seed, flowers=4, least_chance=0.0007, note=private(who, "Note"), **wanted)


def reasons_for(seed_parent: str) -> list[dict[str, Any]]:
    """Reasons that rest on both plants, with the words of both growers."""
    seed, pollen = {"plant": seed_parent, "source": "its grower"}, {"plant": "'Ferry'"}
    return [
        {"code": "poor_seed_parent", "parameters": seed},
        {"code": "poor_pollen_parent", "parameters": {**pollen, "source": private("owner", "Evidence")}},
    ]
