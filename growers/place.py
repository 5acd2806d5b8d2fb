"""Where a site is as others see it: its half-degree cell, and the zone and country of the cell's centre.

Everything is answered from data installed with the project (time-zone polygons, and the tables
``zone.tab`` and ``iso3166.tab`` of the IANA time zone database); nothing is asked over a network.
"""

import math
import re
import zoneinfo
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import tzfpy

HIGHEST_CENTRE_LATITUDE_DEG = 89.75
"""Centre of the most northern cells; the pole itself belongs to them (definition)."""

TROPIC_LATITUDE_DEG = 23.44
"""Obliquity of the ecliptic in degrees, rounded (definition of the tropics)."""

WARM_TEMPERATE_LATITUDE_DEG = 35.0
"""Where others read "subtropical" up to; a word for readers, used in no computation (judgement)."""

COOL_LATITUDE_DEG = 55.0
"""Where others read "temperate" up to; a word for readers, used in no computation (judgement)."""

PARTS_OF_THE_WORLD = {
    "Africa": "Africa",
    "America": "Americas",
    "Antarctica": "Antarctica",
    "Arctic": "Europe",
    "Asia": "Asia",
    "Atlantic": "Atlantic islands",
    "Australia": "Oceania",
    "Europe": "Europe",
    "Indian": "Indian Ocean islands",
    "Pacific": "Oceania",
}
"""Area names of the IANA time zone database as words for readers (judgement)."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A half-degree cell by its centre, in degrees."""

    latitude_deg: float
    longitude_deg: float


def cell_at(latitude_deg: float, longitude_deg: float) -> Cell:
    """The cell that holds a point; each cell owns its southern and western edge.

    The north pole belongs to the cells south of it, and 180° E is 180° W.
    """
    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 180.0):
        raise ValueError(f"The place is {latitude_deg}, {longitude_deg}; allowed: -90 to 90, -180 to 180.")
    latitude = min(_half_degree_centre(latitude_deg), HIGHEST_CENTRE_LATITUDE_DEG)
    longitude = _half_degree_centre(-180.0 if longitude_deg == 180.0 else longitude_deg)
    return Cell(latitude, longitude)


def _half_degree_centre(angle_deg: float) -> float:
    return math.floor(angle_deg * 2.0) / 2.0 + 0.25


def cell_zone(cell: Cell) -> str:
    """IANA zone of the cell's centre; at sea a nautical zone such as ``Etc/GMT+2``."""
    return tzfpy.get_tz(cell.longitude_deg, cell.latitude_deg)


def zone_country(zone: str, *, declared: str) -> str:
    """ISO 3166 code of the country of a land zone; at sea the country its grower declared."""
    return zone_countries().get(zone, declared)


def part_of_the_world(zone: str, country: str) -> str:
    """Continent or islands of a zone as a word; those of the country where the zone is at sea."""
    return PARTS_OF_THE_WORLD.get(zone.partition("/")[0]) or country_part_of_the_world(country)


def country_part_of_the_world(country: str) -> str:
    """Continent or islands of a country's first zone as a word."""
    zone = next((name for name, code in zone_countries().items() if code == country), "")
    return PARTS_OF_THE_WORLD.get(zone.partition("/")[0], "at sea")


def climate_band(latitude_deg: float) -> str:
    """A coarse word for the latitude, for readers only."""
    distance_deg = abs(latitude_deg)
    if distance_deg < TROPIC_LATITUDE_DEG:
        return "tropical"
    hemisphere = "northern" if latitude_deg > 0.0 else "southern"
    if distance_deg < WARM_TEMPERATE_LATITUDE_DEG:
        return f"{hemisphere} subtropical"
    return f"{hemisphere} {'temperate' if distance_deg < COOL_LATITUDE_DEG else 'cool'}"


def zone_cell(zone: str) -> Cell:
    """The cell of the principal place of a land zone, as the zone database gives it.

    Raises
    ------
    KeyError
        If it is not a land zone.
    """
    place = next((row[1] for row in _table("zone.tab") if row[2] == zone), None)
    if place is None:
        raise KeyError(zone)
    latitude, longitude = (_degrees(part) for part in re.findall(r"[+-]\d+", place))
    return cell_at(latitude, longitude)


def _degrees(text: str) -> float:
    """An angle of ISO 6709: sign, two or three digits of degrees, two of minutes, perhaps two of seconds."""
    sign, digits = (-1.0 if text[0] == "-" else 1.0), text[1:]
    width = len(digits) % 2 + 2
    minutes, seconds = int(digits[width : width + 2]), int(digits[width + 2 :] or 0)
    return sign * (int(digits[:width]) + minutes / 60.0 + seconds / 3600.0)


@cache
def zones() -> frozenset[str]:
    """Names of all time zones of the IANA database; the two that stand for "unset" are left out."""
    return frozenset(zoneinfo.available_timezones() - {"Factory", "localtime"})


@cache
def countries() -> dict[str, str]:
    """Country codes of ISO 3166 alpha-2 with their English names."""
    return {row[0]: row[1] for row in _table("iso3166.tab")}


@cache
def zone_countries() -> dict[str, str]:
    """Country code of each land zone."""
    return {row[2]: row[0] for row in _table("zone.tab")}


def _table(name: str) -> list[list[str]]:
    text = (files("tzdata") / "zoneinfo" / name).read_text(encoding="utf-8")
    return [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
