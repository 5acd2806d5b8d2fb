"""A region in words."""

from django.utils.translation import gettext as _

from growers import place
from growers.selectors.site import Region


def region_words(where: Region) -> str:
    """A region in words, no finer than it is."""
    country = place.countries().get(where.country or "", where.country or "")
    if where.cell_latitude_deg is not None and where.cell_longitude_deg is not None:
        return _("{country}, near {latitude:.2f}°, {longitude:.2f}°").format(
            country=country, latitude=where.cell_latitude_deg, longitude=where.cell_longitude_deg
        )
    if where.subdivision:
        return f"{country}, {where.subdivision}"
    return country or f"{where.part_of_the_world}, {where.climate_band}"
