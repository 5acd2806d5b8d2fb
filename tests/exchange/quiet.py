"""A recipient who looks for pollen that nobody offers, and owners who have it and may be asked."""

from datetime import datetime
from typing import Any

from exchange.models import WantedCross
from exchange.services.quiet_ask import quiet_asks_make
from exchange.services.rescoring import rescore
from growers.models import Grower, Plant, Site
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_update
from tests.exchange.society import FRANCE, GERMANY, SUMMER
from tests.factories import make_plant, make_site, make_wanted_cross


def make_owner(grower: Grower) -> Grower:
    """A grower in France who may be asked, and posts to Germany."""
    make_site(grower, **FRANCE)
    return grower_update(actor=grower, may_be_asked=True, countries_shipped_to=["DE"])


def make_unoffered(owner: Grower, **facts: Any) -> Plant:
    """A hardy plant in bloom that is not on offer."""
    plant = make_plant(owner, **facts)
    bloom_said_set(actor=owner, plant=plant, **SUMMER)
    return plant


def make_wish(asker: Grower, **wanted: Any) -> WantedCross:
    """A wanted cross of any hardy pollen, on a plant in bloom in Germany."""
    if not Site.objects.filter(grower=asker).exists():
        make_site(asker, **GERMANY)
    seed = make_plant(asker, name_as_grown="'Secret seed'")
    bloom_said_set(actor=asker, plant=seed, **SUMMER)
    return make_wanted_cross(seed, **{"pollen_groups": ["hardy"], **wanted})


def look(now: datetime) -> None:
    """What sweeps do one after the other: take in what changed, then ask."""
    rescore(now=now)
    quiet_asks_make(now=now)
