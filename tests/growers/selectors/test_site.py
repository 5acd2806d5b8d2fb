"""What others read of a site is less than what its owner does."""

import json
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from growers.models import Grower, Site
from growers.selectors.site import Region, coarser_level, region, regions, sites_of
from growers.services.site import site_update
from tests.factories import make_site

pytestmark = pytest.mark.django_db


def test_the_owner_sees_everything(donor: Grower, recipient: Grower) -> None:
    make_site(donor, keep_exact=True, nearest_town="Somewhere", water_depth_cm=60, region_level="country")
    make_site(recipient)
    (site,) = sites_of(donor)
    assert (site.latitude_deg, site.longitude_deg, site.nearest_town) == (48.85, 2.35, "Somewhere")
    assert (site.zone, site.water, site.water_depth_cm) == ("Europe/Paris", "outdoor", 60)
    assert site.region == Region("country", "Europe", "FR")


@pytest.mark.parametrize(
    ("level", "expected"),
    [
        ("cell", Region("cell", "Europe", "FR", None, "northern temperate", 48.75, 2.25)),
        ("subdivision", Region("subdivision", "Europe", "FR", "FR-75")),
        ("country", Region("country", "Europe", "FR")),
        ("climate_band", Region("climate_band", "Europe", climate_band="northern temperate")),
    ],
)
def test_others_read_nothing_finer_than_the_level(donor: Grower, level: str, expected: Region) -> None:
    site = make_site(
        donor, keep_exact=True, subdivision="FR-75", region_level=level, nearest_town="Somewhere"
    )
    assert region(site) == expected


def test_a_subdivision_across_the_border_from_the_centre_is_not_told(donor: Grower) -> None:
    site = make_site(
        donor,
        country="FR",
        subdivision="FR-67",
        latitude_deg=49.01,
        longitude_deg=8.01,
        region_level="subdivision",
    )
    assert region(site) == Region("country", "Europe", "DE")


def test_the_country_level_does_not_tell_an_overseas_part(donor: Grower) -> None:
    site = make_site(donor, country="ES", latitude_deg=28.1, longitude_deg=-15.5, region_level="country")
    assert site.cell_zone == "Atlantic/Canary"
    assert region(site) == Region("country", "Europe", "ES")


@given(st.floats(48.5, 49.0, exclude_max=True), st.floats(2.0, 2.5, exclude_max=True))
def test_every_point_of_a_cell_reads_the_same(latitude: float, longitude: float) -> None:
    """Whatever is asked, as often as one likes, nothing finer than the cell comes out."""
    texts = set()
    for level in Site.RegionLevel.values:
        for point in ((latitude, longitude), (48.75, 2.25)):
            site = placed(*point, level)
            texts.add(json.dumps(asdict(region(site)), sort_keys=True))
    assert len(texts) == len(Site.RegionLevel.values)


def placed(latitude_deg: float, longitude_deg: float, level: str) -> Site:
    """A site as the service would store it, without a database."""
    from growers import place

    cell = place.cell_at(latitude_deg, longitude_deg)
    zone = place.cell_zone(cell)
    return Site(
        country="FR",
        subdivision="FR-75",
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        cell_latitude_deg=cell.latitude_deg,
        cell_longitude_deg=cell.longitude_deg,
        cell_zone=zone,
        cell_country=place.zone_country(zone, declared="FR"),
        region_level=level,
    )


def test_a_kept_point_changes_nothing_for_others(donor: Grower) -> None:
    site = make_site(donor, region_level="cell")
    before = regions([site.pk])
    site_update(
        actor=donor, site=site, latitude_deg=48.51, longitude_deg=2.01, keep_exact=True, water="glass"
    )
    assert regions([site.pk]) == before


def test_regions_of_many_sites_take_one_query(donor: Grower, django_assert_num_queries: object) -> None:
    ids = [make_site(donor, name=name).pk for name in "abc"]
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert list(regions(ids)) == ids
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert [site.name for site in sites_of(donor)] == ["a", "b", "c"]


def test_levels_run_from_fine_to_coarse() -> None:
    assert coarser_level("cell", "country") == coarser_level("country", "cell") == "country"
    assert coarser_level("climate_band", "subdivision") == "climate_band"
