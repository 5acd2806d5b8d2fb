"""Sites as their owner sees them, and regions as all others do."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from growers import place
from growers.models import Grower, Site

GROWERS_TO_HIDE_AMONG = 5
"""The finest region suggested is the first that holds this many growers (judgement)."""

LEVELS = (
    Site.RegionLevel.CELL,
    Site.RegionLevel.SUBDIVISION,
    Site.RegionLevel.COUNTRY,
    Site.RegionLevel.CLIMATE_BAND,
)
"""From fine to coarse."""


@dataclass(frozen=True, slots=True)
class Region:
    """Where a site is as others may read it; what is finer than its ``level`` is None."""

    level: str
    part_of_the_world: str
    country: str | None = None
    subdivision: str | None = None
    climate_band: str | None = None
    cell_latitude_deg: float | None = None
    cell_longitude_deg: float | None = None


@dataclass(frozen=True, slots=True)
class SiteForOwner:
    """All that is known of a site."""

    public_id: UUID
    name: str
    country: str
    subdivision: str
    nearest_town: str
    latitude_deg: float | None
    longitude_deg: float | None
    zone: str
    water: str
    water_depth_cm: int | None
    region: Region


def sites_of(owner: Grower) -> list[SiteForOwner]:
    """All sites of a grower, by name; one query."""
    return [for_owner(site) for site in Site.objects.filter(grower=owner).order_by("name")]


def regions(site_ids: Iterable[int]) -> dict[int, Region]:
    """What others may read of these sites; one query."""
    return {site.pk: region(site) for site in Site.objects.filter(pk__in=list(site_ids))}


def for_owner(site: Site) -> SiteForOwner:
    """A loaded site for its owner's eyes; no query."""
    return SiteForOwner(
        public_id=site.public_id,
        name=site.name,
        country=site.country,
        subdivision=site.subdivision,
        nearest_town=site.nearest_town,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        zone=site.cell_zone,
        water=site.water,
        water_depth_cm=site.water_depth_cm,
        region=region(site),
    )


def region(site: Site) -> Region:
    """A loaded site for the eyes of others, computed from its cell alone; no query."""
    level = Site.RegionLevel(site.region_level)
    band = place.climate_band(site.cell_latitude_deg)
    if level == Site.RegionLevel.CLIMATE_BAND:
        world = place.part_of_the_world(site.cell_zone, site.cell_country)
        return Region(level.value, world, climate_band=band)
    # The country's word, not the zone's: of an overseas part the zone would tell more than the level.
    world, country = place.country_part_of_the_world(site.cell_country), site.cell_country
    if level == Site.RegionLevel.CELL:
        latitude, longitude = site.cell_latitude_deg, site.cell_longitude_deg
        return Region(level.value, world, country, None, band, latitude, longitude)
    # A subdivision across the border from the cell's centre would tell on which side the site lies.
    if level == Site.RegionLevel.SUBDIVISION and site.subdivision.startswith(f"{country}-"):
        return Region(level.value, world, country, site.subdivision)
    return Region(Site.RegionLevel.COUNTRY.value, world, country)


def coarser_level(one: str, other: str) -> str:
    """The coarser of two levels."""
    return max(Site.RegionLevel(one), Site.RegionLevel(other), key=LEVELS.index).value


def region_level_suggested(site: Site) -> str:
    """The finest level at which the site's grower is one of at least five; at most three queries."""
    for level, area in _areas(site):
        others = Site.objects.filter(area, grower__closed_at=None).exclude(grower=site.grower)
        if others.values("grower").distinct().count() + 1 >= GROWERS_TO_HIDE_AMONG:
            return level
    return Site.RegionLevel.CLIMATE_BAND.value


def _areas(site: Site) -> list[tuple[str, Q]]:
    """Areas round a site from fine to coarse."""
    country = Q(cell_country=site.cell_country)
    cell = Q(cell_latitude_deg=site.cell_latitude_deg, cell_longitude_deg=site.cell_longitude_deg)
    subdivision = Q(subdivision=site.subdivision)
    areas = [(Site.RegionLevel.CELL.value, cell), (Site.RegionLevel.COUNTRY.value, country)]
    if site.subdivision.startswith(f"{site.cell_country}-"):
        areas.insert(1, (Site.RegionLevel.SUBDIVISION.value, country & subdivision))
    return areas
