"""Facts as rows. One model a file; every row the outside sees has a random ``public_id``."""

from growers.models.bloom import BloomSaid, BloomSeason, BloomSighting
from growers.models.change import Change
from growers.models.grower import Grower
from growers.models.plant import Plant
from growers.models.reference_load import ReferenceLoad
from growers.models.site import Site
from growers.models.taxon import Diel, Fertility, Group, Taxon
from growers.models.weather import WeatherDay

__all__ = [
    "BloomSaid",
    "BloomSeason",
    "BloomSighting",
    "Change",
    "Diel",
    "Fertility",
    "Group",
    "Grower",
    "Plant",
    "ReferenceLoad",
    "Site",
    "Taxon",
    "WeatherDay",
]
