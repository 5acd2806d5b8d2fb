"""Counts for everybody: no cell of the table shows fewer than five growers, or a region finer than said."""

from collections.abc import Sequence

import pytest

from exchange.selectors.public_market import MarketRow, public_market
from exchange.services.offer import offer_pause
from growers.models import Grower, Plant, Site
from growers.services.grower import grower_close
from tests.factories import make_grower, make_offer, make_plant, make_site, make_taxon, make_wanted_cross

pytestmark = pytest.mark.django_db

PARIS = {"country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
LYON = {"country": "FR", "latitude_deg": 45.75, "longitude_deg": 4.85}
MUNICH = {"country": "DE", "latitude_deg": 48.25, "longitude_deg": 11.75}
SYDNEY = {"country": "AU", "latitude_deg": -33.9, "longitude_deg": 151.2}


def plants(
    count: int, place: dict[str, object], level: str, *, name: str, group: str = "hardy"
) -> list[Plant]:
    """So many growers with a plant each, whose site is shown at a level."""
    found = []
    for number in range(count):
        grower = make_grower(f"{name}-{number}")
        make_site(grower, **place)  # type: ignore[arg-type]
        Site.objects.filter(grower=grower).update(region_level=level)
        found.append(make_plant(grower, group=group, diel="day"))
    return found


def shown(rows: Sequence[MarketRow]) -> list[tuple[str, str, str | float | None, int]]:
    """Group, level, the finest thing said of the place, and count."""
    return [
        (
            row.group,
            row.region.level,
            row.region.cell_latitude_deg
            or row.region.subdivision
            or row.region.country
            or row.region.climate_band
            or row.region.part_of_the_world,
            row.count,
        )
        for row in rows
    ]


def offered() -> list[tuple[str, str, str | float | None, int]]:
    return shown(public_market().offered)


def test_five_growers_of_a_cell_are_shown_as_one() -> None:
    for plant in plants(5, PARIS, "cell", name="paris"):
        make_offer(plant)
        make_offer(plant)
    assert offered() == [("hardy", "cell", 48.75, 10)]


def test_one_grower_with_many_offers_hides_nobody() -> None:
    (plant,) = plants(1, PARIS, "cell", name="paris")
    for _ in range(6):
        make_offer(plant)
    assert offered() == [("hardy", "world", "", 6)]


def test_thin_cells_are_counted_in_a_coarser_region() -> None:
    for plant in [*plants(3, PARIS, "cell", name="paris"), *plants(2, LYON, "cell", name="lyon")]:
        make_offer(plant)
    assert offered() == [("hardy", "country", "FR", 5)]
    for plant in plants(4, MUNICH, "country", name="munich"):
        make_offer(plant)
    assert offered() == [("hardy", "country", "FR", 5), ("hardy", "world", "", 4)]
    for plant in plants(1, MUNICH, "cell", name="another"):
        make_offer(plant)
    assert offered() == [("hardy", "country", "DE", 5), ("hardy", "country", "FR", 5)]


def test_different_countries_meet_in_a_part_of_the_world() -> None:
    for plant in [*plants(3, PARIS, "cell", name="paris"), *plants(2, MUNICH, "country", name="munich")]:
        make_offer(plant)
    for plant in plants(1, SYDNEY, "cell", name="sydney"):
        make_offer(plant)
    assert offered() == [("hardy", "part_of_the_world", "Europe", 5), ("hardy", "world", "", 1)]


def test_nobody_is_shown_finer_than_their_site_says() -> None:
    for plant in [*plants(5, PARIS, "cell", name="cell"), *plants(2, PARIS, "climate_band", name="band")]:
        make_offer(plant)
    assert offered() == [("hardy", "cell", 48.75, 5), ("hardy", "world", "", 2)]
    Site.objects.update(region_level="climate_band")
    assert offered() == [("hardy", "climate_band", "northern temperate", 7)]


def test_groups_are_not_thrown_together() -> None:
    for plant in plants(5, PARIS, "country", name="hardy"):
        make_offer(plant)
    for plant in plants(2, PARIS, "country", name="lotos", group="lotos"):
        make_offer(plant)
    assert offered() == [("hardy", "country", "FR", 5), ("lotos", "world", "", 2)]


def test_what_is_looked_for_is_counted_by_the_group_asked_for() -> None:
    taxon = make_taxon(group="lotos", diel="night")
    for plant in plants(5, PARIS, "country", name="paris"):
        make_wanted_cross(plant, pollen_taxa=[taxon], pollen_groups=["nelumbo", "lotos"])
        make_wanted_cross(plant)
        make_wanted_cross(plant, pollen_plants=[plant])
    assert shown(public_market().wanted) == [
        ("any", "country", "FR", 5),
        ("hardy", "country", "FR", 5),
        ("lotos", "country", "FR", 5),
        ("nelumbo", "country", "FR", 5),
    ]


def test_what_fewer_than_five_growers_look_for_is_a_secret() -> None:
    wanting = [*plants(3, PARIS, "cell", name="paris"), *plants(1, SYDNEY, "cell", name="sydney")]
    for plant in wanting:
        make_wanted_cross(plant, pollen_groups=["lotos"])
        make_wanted_cross(plant, pollen_groups=["lotos"])
    assert shown(public_market().wanted) == []
    for plant in plants(1, MUNICH, "cell", name="munich"):
        make_wanted_cross(plant, pollen_groups=["lotos"])
    assert shown(public_market().wanted) == [("lotos", "world", "", 9)]
    for plant in plants(5, LYON, "country", name="lyon"):
        make_wanted_cross(plant, pollen_groups=["lotos"])
    assert shown(public_market().wanted) == [("lotos", "country", "FR", 11)]


def test_only_what_is_open_counts(outsider: Grower) -> None:
    found = plants(6, PARIS, "country", name="paris")
    offers = [make_offer(plant) for plant in found]
    offer_pause(actor=found[0].grower, offer=offers[0])
    assert offered() == [("hardy", "country", "FR", 5)]
    grower_close(actor=found[1].grower)
    assert offered() == [("hardy", "world", "", 4)]
