"""Sites: where a grower's plants are; the exact place is stored only if its owner asks for it."""

import re
from typing import TypedDict, Unpack

from django.db import transaction

from growers import place
from growers.errors import NotFound
from growers.models import Change, Grower, Site
from growers.selectors.site import coarser_level, region_level_suggested
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set, row_save

RANGES = {
    "latitude_deg": (-90, 90),
    "longitude_deg": (-180, 180),
    "water_depth_cm": (1, 1000),
}
SUBDIVISION = re.compile(r"[A-Z]{2}-[A-Z0-9]{1,3}")
PLACE = ("latitude_deg", "longitude_deg")
CELL = ("cell_latitude_deg", "cell_longitude_deg", "cell_country", "cell_zone")


class SiteFields(TypedDict, total=False):
    """What a grower may say of a site."""

    name: str
    country: str
    subdivision: str
    nearest_town: str
    latitude_deg: float | None
    longitude_deg: float | None
    region_level: str
    water: str
    water_depth_cm: int | None


def site_create(*, actor: Grower, keep_exact: bool = False, **fields: Unpack[SiteFields]) -> Site:
    """Add a site from a point, typed or tapped on a map; of the point only the cell is kept.

    ``keep_exact`` keeps the point too, for its owner alone. Without ``region_level`` the finest level
    that hides the grower among others is taken.
    """
    with transaction.atomic():
        site = Site(grower=open_grower(actor))
        fields_set(site, fields, SiteFields.__annotations__)
        _site_check(site, located=True)
        _cell_set(site, keep_exact=keep_exact)
        if "region_level" not in fields:
            site.region_level = region_level_suggested(site)
        row_save(site, kind=Change.Kind.SITE)
    return site


def site_update(
    *, actor: Grower, site: Site, keep_exact: bool | None = None, **fields: Unpack[SiteFields]
) -> Site:
    """Change some facts of one's own site.

    A new point is kept only with ``keep_exact``; ``keep_exact=False`` alone forgets the stored one. A
    move to another cell may make coarser what others read, never finer unless ``region_level`` says so.
    """
    located = any(name in fields for name in PLACE)
    with transaction.atomic():
        own = own_site(actor, site)
        fields_set(own, fields, SiteFields.__annotations__)
        _site_check(own, located=located)
        if located:
            moved = _cell_set(own, keep_exact=bool(keep_exact))
            if moved and "region_level" not in fields:
                own.region_level = coarser_level(own.region_level, region_level_suggested(own))
        elif keep_exact is False:
            own.latitude_deg = own.longitude_deg = None
        _cell_country_set(own)
        row_save(own, kind=Change.Kind.SITE, names=[*fields, *PLACE, *CELL, "region_level"])
    return own


def own_site(actor: Grower, site: Site) -> Site:
    """The locked row of a site of the actor; to others there is none."""
    open_sites = Site.objects.select_for_update(of=("self",)).filter(grower__closed_at=None)
    own = open_sites.filter(pk=site.pk, grower=actor).first()
    if own is None:
        raise NotFound("There is no such site.")
    return own


def _site_check(site: Site, *, located: bool) -> None:
    problems = Problems()
    if located:
        _place_check(site, problems)
    if site.country not in place.countries():
        problems.add("country", site.country, "an ISO 3166 code of two capital letters such as FR")
    _region_check(site, problems)
    columns_check(site, problems, ranges=RANGES, names=SiteFields.__annotations__)
    if Site.objects.filter(grower=site.grower, name=site.name).exclude(pk=site.pk).exists():
        problems.add("name", site.name, "a name that none of your sites has yet", code="taken")
    problems.refuse_if_any()


def _place_check(site: Site, problems: Problems) -> None:
    for name in PLACE:
        if getattr(site, name) is None:
            low, high = RANGES[name]
            problems.add(name, None, f"{low} to {high} (tap the map near your town)")


def _region_check(site: Site, problems: Problems) -> None:
    code = site.subdivision
    if code and not (SUBDIVISION.fullmatch(code) and code.startswith(f"{site.country}-")):
        problems.add("subdivision", code, f"an ISO 3166-2 code that begins with {site.country}-")
    if site.region_level == Site.RegionLevel.SUBDIVISION and not code:
        problems.add("region_level", site.region_level, "cell, country, climate_band without a subdivision")


def _cell_set(site: Site, *, keep_exact: bool) -> bool:
    """Set the cell of the site's point and drop the point unless wanted; whether the cell is another."""
    if site.latitude_deg is None or site.longitude_deg is None:
        raise TypeError("A site without a point has no cell; the check before this refuses it.")
    cell = place.cell_at(site.latitude_deg, site.longitude_deg)
    moved = (site.cell_latitude_deg, site.cell_longitude_deg) != (cell.latitude_deg, cell.longitude_deg)
    site.cell_latitude_deg, site.cell_longitude_deg = cell.latitude_deg, cell.longitude_deg
    site.cell_zone = place.cell_zone(cell)
    _cell_country_set(site)
    if not keep_exact:
        site.latitude_deg = site.longitude_deg = None
    return moved


def _cell_country_set(site: Site) -> None:
    site.cell_country = place.zone_country(site.cell_zone, declared=site.country)
