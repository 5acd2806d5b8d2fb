"""Sites: one cell for others, the point for nobody unless its owner wants it kept."""

import pytest

from growers.errors import NotFound
from growers.models import Grower, Site
from growers.services.grower import grower_close
from growers.services.site import SiteFields, site_create, site_update
from tests.factories import make_grower, make_site
from tests.growers.refusal import problems, refused

pytestmark = pytest.mark.django_db

SUBDIVIDED: SiteFields = {"subdivision": "FR-75"}


def stored(site: Site) -> Site:
    return Site.objects.get(pk=site.pk)


def test_only_the_cell_of_a_point_is_stored(donor: Grower) -> None:
    site = stored(make_site(donor, nearest_town="Somewhere"))
    assert (site.latitude_deg, site.longitude_deg) == (None, None)
    assert (site.cell_latitude_deg, site.cell_longitude_deg) == (48.75, 2.25)
    assert (site.cell_country, site.cell_zone) == ("FR", "Europe/Paris")
    assert (site.nearest_town, site.water) == ("Somewhere", "outdoor")


def test_the_owner_may_have_the_point_kept(donor: Grower) -> None:
    site = stored(make_site(donor, keep_exact=True))
    assert (site.latitude_deg, site.longitude_deg) == (48.85, 2.35)


def test_country_and_zone_are_those_of_the_centre_across_a_border(donor: Grower) -> None:
    site = stored(make_site(donor, country="FR", latitude_deg=49.01, longitude_deg=8.01))
    assert (site.country, site.cell_country, site.cell_zone) == ("FR", "DE", "Europe/Berlin")


def test_at_sea_the_declared_country_stands(donor: Grower) -> None:
    site = stored(make_site(donor, country="PT", latitude_deg=30.1, longitude_deg=-40.1))
    assert (site.cell_country, site.cell_zone) == ("PT", "Etc/GMT+3")
    moved = site_update(actor=donor, site=site, country="ES")
    assert (moved.cell_country, moved.cell_zone) == ("ES", "Etc/GMT+3")


def test_wrong_fields_are_told_with_what_is_allowed(donor: Grower) -> None:
    found = problems(
        lambda: make_site(
            donor,
            name="",
            country="XX",
            subdivision="US-TX",
            latitude_deg=95.0,
            longitude_deg=float("nan"),
            water="ice",
            water_depth_cm=0,
            region_level="street",
        )
    )
    assert found == {
        "/name": "name is missing; allowed: 1 to 80 characters.",
        "/country": "country is 'XX'; allowed: an ISO 3166 code of two capital letters such as FR.",
        "/subdivision": "subdivision is 'US-TX'; allowed: an ISO 3166-2 code that begins with XX-.",
        "/latitude_deg": "latitude_deg is 95.0; allowed: -90 to 90.",
        "/longitude_deg": "longitude_deg is nan; allowed: -180 to 180.",
        "/water": "water is 'ice'; allowed: outdoor, heated, glass.",
        "/water_depth_cm": "water_depth_cm is 0; allowed: whole numbers from 1 to 1000.",
        "/region_level": "region_level is 'street'; allowed: cell, subdivision, country, climate_band.",
    }


def test_a_site_needs_a_point(donor: Grower) -> None:
    assert problems(
        lambda: site_create(actor=donor, name="pond", country="FR", nearest_town="Somewhere")
    ) == {
        "/latitude_deg": "latitude_deg is missing; allowed: -90 to 90 (tap the map near your town).",
        "/longitude_deg": "longitude_deg is missing; allowed: -180 to 180 (tap the map near your town).",
    }


def test_half_a_point_moves_nothing(donor: Grower) -> None:
    site = make_site(donor)
    assert list(problems(lambda: site_update(actor=donor, site=site, latitude_deg=10.0))) == [
        "/longitude_deg"
    ]


def test_a_name_is_used_once_by_a_grower(donor: Grower, recipient: Grower) -> None:
    make_site(donor)
    assert make_site(recipient).name == "pond"
    assert problems(lambda: make_site(donor)) == {
        "/name": "name is 'pond'; allowed: a name that none of your sites has yet."
    }


def test_only_the_owner_changes_a_site(donor: Grower, outsider: Grower) -> None:
    site = make_site(donor)
    error = refused(lambda: site_update(actor=outsider, site=site, name="mine"), NotFound)
    assert str(error) == "There is no such site."


def test_an_update_leaves_what_it_does_not_name(donor: Grower) -> None:
    site = make_site(donor, keep_exact=True, region_level="country", water_depth_cm=60)
    renamed = stored(site_update(actor=donor, site=site, name="glass house", water="glass"))
    assert (renamed.name, renamed.water, renamed.water_depth_cm) == ("glass house", "glass", 60)
    assert (renamed.latitude_deg, renamed.longitude_deg) == (48.85, 2.35)
    assert renamed.region_level == "country"


def test_the_kept_point_is_forgotten_on_request(donor: Grower) -> None:
    site = make_site(donor, keep_exact=True)
    blurred = stored(site_update(actor=donor, site=site, keep_exact=False))
    assert (blurred.latitude_deg, blurred.longitude_deg, blurred.cell_latitude_deg) == (None, None, 48.75)


def test_a_move_forgets_the_old_point_and_keeps_the_new_one_only_on_request(donor: Grower) -> None:
    site = make_site(donor, keep_exact=True)
    moved = stored(site_update(actor=donor, site=site, country="TH", latitude_deg=13.6, longitude_deg=100.6))
    assert (moved.latitude_deg, moved.longitude_deg) == (None, None)
    assert (moved.cell_latitude_deg, moved.cell_longitude_deg) == (13.75, 100.75)
    assert (moved.cell_country, moved.cell_zone) == ("TH", "Asia/Bangkok")


# --- the region others read ---


def settle(count: int, prefix: str = "neighbour", **fields: object) -> None:
    for number in range(count):
        make_site(make_grower(f"{prefix}-{chr(ord('a') + number)}"), **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(("neighbours", "level"), [(3, "climate_band"), (4, "cell")])
def test_the_cell_is_suggested_where_it_holds_five_growers(
    donor: Grower, neighbours: int, level: str
) -> None:
    settle(neighbours)
    assert make_site(donor).region_level == level


def test_one_grower_with_many_ponds_hides_nobody(donor: Grower, recipient: Grower) -> None:
    for name in ("a", "b", "c", "d", "e"):
        make_site(recipient, name=name)
    assert make_site(donor).region_level == "climate_band"


def test_the_own_ponds_do_not_hide_their_grower(donor: Grower) -> None:
    levels = {make_site(donor, name=name).region_level for name in ("a", "b", "c", "d", "e", "f")}
    assert levels == {"climate_band"}


def test_the_country_is_suggested_where_the_cell_is_too_empty(donor: Grower) -> None:
    settle(4, latitude_deg=44.8, longitude_deg=0.6)
    assert make_site(donor).region_level == "country"


def test_the_subdivision_is_suggested_before_the_country(donor: Grower) -> None:
    settle(4, latitude_deg=48.2, longitude_deg=2.6, **SUBDIVIDED)
    assert make_site(donor, subdivision="FR-75").region_level == "subdivision"
    assert make_site(donor, name="other").region_level == "country"


def test_a_closed_account_hides_nobody(donor: Grower) -> None:
    settle(4)
    grower_close(actor=Grower.objects.get(handle="neighbour-a"))
    assert make_site(donor).region_level == "climate_band"


def test_the_owner_decides_about_the_region(donor: Grower) -> None:
    assert make_site(donor, region_level="cell").region_level == "cell"


def test_a_subdivision_must_be_named_to_be_read(donor: Grower) -> None:
    assert problems(lambda: make_site(donor, region_level="subdivision")) == {
        "/region_level": (
            "region_level is 'subdivision'; allowed: cell, country, climate_band without a subdivision."
        )
    }


def test_a_move_to_a_lonely_place_makes_the_region_coarser_never_finer(donor: Grower) -> None:
    settle(4)
    site = make_site(donor)
    away = site_update(actor=donor, site=site, country="TH", latitude_deg=13.6, longitude_deg=100.6)
    assert (site.region_level, away.region_level) == ("cell", "climate_band")
    back = site_update(actor=donor, site=site, country="FR", latitude_deg=48.85, longitude_deg=2.35)
    assert back.region_level == "climate_band"
