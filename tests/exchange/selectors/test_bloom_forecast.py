"""Forecasts from stored facts: every fact arrives in the science as what it is, and narrows the window."""

from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest
from pytest_django import DjangoAssertNumQueries

from exchange.matching.side import Bloom
from exchange.science.bloom import BloomFacts, BloomWindow, SaidWindow, SeasonRecord
from exchange.science.bloom_scenario import window_interval
from exchange.science.climate import climate_of
from exchange.selectors.bloom_forecast import blooms, science_facts, setting
from growers.models import Grower, Plant, Site
from growers.selectors.bloom import bloom_facts
from growers.services.bloom import (
    bloom_bud_seen,
    bloom_flowers_count,
    bloom_not_yet,
    bloom_said_set,
    bloom_season_over,
    bloom_season_record,
)
from growers.services.plant_rule import PlantFacts
from growers.services.site import SiteFields
from tests.clock import MovableClock
from tests.factories import make_plant, make_season, make_site, make_taxon

pytestmark = pytest.mark.django_db

TODAY = date(2027, 7, 1)
WHOLE_YEAR_DAYS = 366


@pytest.fixture(autouse=True)
def first_of_july(clock: MovableClock) -> None:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))


@pytest.fixture
def plant(donor: Grower) -> Plant:
    return make_plant(donor)


def loaded(*plants: Plant) -> list[Plant]:
    return list(
        Plant.objects.filter(pk__in=[plant.pk for plant in plants]).select_related("site").order_by("pk")
    )


def forecast_of(plant: Plant, today: date = TODAY) -> Bloom:
    found = blooms(loaded(plant), today)[plant.pk]
    assert found is not None
    return found


def window_of(plant: Plant, today: date = TODAY) -> BloomWindow:
    return forecast_of(plant, today).window


def facts_of(plant: Plant, today: date = TODAY) -> BloomFacts:
    return science_facts(bloom_facts([plant.pk], today=today)[plant.pk])


# --- facts as the science takes them ---


def test_a_plant_of_which_nothing_is_known(plant: Plant) -> None:
    assert facts_of(plant) == BloomFacts()


def test_recorded_seasons_with_what_is_known_of_their_days(plant: Plant) -> None:
    make_season(plant, date(2025, 6, 3), date(2025, 9, 12))
    bloom_season_record(
        actor=plant.grower,
        plant=plant,
        first_flower_on=date(2026, 6, 10),
        first_precision="week",
        last_flower_on=date(2026, 9, 1),
        last_precision="month",
    )
    assert facts_of(plant) == BloomFacts(
        records=(
            SeasonRecord(date(2025, 6, 3), date(2025, 9, 12), 0),
            SeasonRecord(date(2026, 6, 10), date(2026, 9, 1), 7),
        )
    )


def test_the_first_flower_of_the_season_that_is_on(plant: Plant) -> None:
    make_season(plant, date(2027, 6, 5))
    found = facts_of(plant)
    assert found.records == (SeasonRecord(date(2027, 6, 5), None, 0),)
    assert (found.first_seen, found.last_seen) == (date(2027, 6, 5), None)


def test_a_first_flower_known_to_the_week_is_a_record_and_no_day(plant: Plant) -> None:
    bloom_season_record(
        actor=plant.grower, plant=plant, first_flower_on=date(2027, 6, 5), first_precision="week"
    )
    assert facts_of(plant) == BloomFacts(records=(SeasonRecord(date(2027, 6, 5), None, 7),))


def test_the_end_of_a_season_that_was_seen(plant: Plant) -> None:
    make_season(plant, date(2027, 5, 1))
    bloom_season_over(actor=plant.grower, plant=plant, seen_on=date(2027, 6, 20))
    found = facts_of(plant)
    assert found.records == (SeasonRecord(date(2027, 5, 1), date(2027, 6, 20), 0),)
    assert (found.first_seen, found.last_seen) == (date(2027, 5, 1), date(2027, 6, 20))


SAID: dict[str, tuple[dict[str, Any], SaidWindow]] = {
    "early-mid-late": (
        {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15},
        SaidWindow((6, 5), (9, 15), 12.0),
    ),
    "date": (
        {"first_month": 10, "first_day": 20, "last_month": 4, "last_day": 1, "precision": "date"},
        SaidWindow((10, 20), (4, 1), 7.0),
    ),
}
"""Standard deviations: 12 d for a third of a month, 7 d for a date (judgement)."""


@pytest.mark.parametrize("case", SAID)
def test_a_window_that_was_only_said(plant: Plant, case: str) -> None:
    words, expected = SAID[case]
    bloom_said_set(actor=plant.grower, plant=plant, **words)
    assert facts_of(plant) == BloomFacts(said=expected)


def test_all_year_with_weak_months(plant: Plant) -> None:
    bloom_said_set(actor=plant.grower, plant=plant, all_year=True, weak_months=[12, 1])
    assert facts_of(plant) == BloomFacts(all_year=True, weak_months=frozenset({1, 12}))


def test_a_bud(plant: Plant) -> None:
    bloom_bud_seen(actor=plant.grower, plant=plant, seen_on=date(2027, 6, 25), bud_stage="showing colour")
    assert facts_of(plant) == BloomFacts(bud_stage="showing colour", bud_seen=date(2027, 6, 25))


def test_no_flower_yet(plant: Plant) -> None:
    bloom_not_yet(actor=plant.grower, plant=plant, seen_on=date(2027, 6, 25))
    assert facts_of(plant) == BloomFacts(not_yet=date(2027, 6, 25))


def test_counts_after_a_look_before_say_when_the_first_flower_came(plant: Plant) -> None:
    owned: dict[str, Any] = {"actor": plant.grower, "plant": plant}
    bloom_not_yet(**owned, seen_on=date(2027, 6, 10))
    bloom_flowers_count(**owned, seen_on=date(2027, 6, 14), flower_count=2)
    bloom_flowers_count(**owned, seen_on=date(2027, 6, 15), flower_count=0)
    assert facts_of(plant) == BloomFacts(
        records=(SeasonRecord(date(2027, 6, 14), None, 4),),
        flower_counts=((date(2027, 6, 14), 2), (date(2027, 6, 15), 0)),
    )


def test_what_comes_after_the_day_asked_for_is_not_known_on_it(plant: Plant) -> None:
    make_season(plant, date(2027, 6, 5))
    bloom_bud_seen(actor=plant.grower, plant=plant, seen_on=date(2027, 6, 1), bud_stage="under water")
    assert facts_of(plant, date(2027, 5, 31)) == BloomFacts()
    assert facts_of(plant, date(2027, 6, 4)) == BloomFacts(bud_stage="under water", bud_seen=date(2027, 6, 1))


# --- the setting ---


@pytest.mark.parametrize("water", ["outdoor", "heated", "glass"])
def test_what_a_plant_is_and_where_it_stands(donor: Grower, water: str) -> None:
    site = make_site(donor, country="TH", latitude_deg=13.9, longitude_deg=100.1, water=water)
    found = setting(make_plant(donor, site=site, group="lotos", diel="night", crowns=3))
    assert (found.group, found.diel, found.water, found.crowns) == ("lotos", "night", water, 3)
    assert (found.latitude_deg, found.similar) == (13.75, ())
    assert found.monthly_mean_c is not None
    assert np.array_equal(found.monthly_mean_c, climate_of(13.75, 100.25).monthly_mean_c)


def test_a_plant_under_glass_of_which_nothing_is_said_has_no_forecast(donor: Grower) -> None:
    plant = make_plant(donor, site=make_site(donor, water="glass"))
    assert blooms(loaded(plant), TODAY) == {plant.pk: None}


# --- similar plants ---


@pytest.fixture
def place(donor: Grower) -> Site:
    return make_site(donor)


def test_plants_of_the_same_taxon_inform_before_those_of_the_group(place: Site) -> None:
    taxon = make_taxon()
    asked = make_plant(place.grower, taxon=taxon)
    make_season(make_plant(place.grower, group="hardy", diel="day"), date(2026, 5, 1), date(2026, 8, 1))
    of_group = window_of(asked, date(2027, 3, 1))
    assert (of_group.basis, of_group.years) == ("similar plants", 0)
    make_season(make_plant(place.grower, taxon=taxon), date(2026, 6, 20), date(2026, 9, 20))
    of_taxon = window_of(asked, date(2027, 3, 1))
    assert of_taxon.basis == "similar plants"
    alone = make_plant(place.grower, taxon=make_taxon(name="Nymphaea 'Other'", group="lotos", diel="night"))
    assert blooms(loaded(alone), TODAY) == {alone.pk: None}
    assert first_bloom(of_taxon) > first_bloom(of_group)


def test_a_plants_own_records_are_not_those_of_a_similar_plant(place: Site) -> None:
    plant = make_plant(place.grower)
    make_season(plant, date(2026, 6, 20), date(2026, 9, 20))
    assert (window_of(plant, date(2027, 3, 1)).basis, window_of(plant, date(2027, 3, 1)).years) == (
        "records",
        1,
    )


def test_plants_elsewhere_inform_nobody(place: Site, recipient: Grower) -> None:
    asked = make_plant(place.grower)
    elsewhere = make_site(place.grower, name="elsewhere")
    for other in (make_plant(place.grower, site=elsewhere), make_plant(recipient)):
        make_season(other, date(2026, 6, 20), date(2026, 9, 20))
    assert window_of(asked, date(2027, 3, 1)).basis == "climate"


def first_bloom(window: BloomWindow) -> date:
    interval = window_interval(window)
    assert interval is not None
    return interval.start_50


# --- each fact narrows: climate only, said, bud, at three sites ---

Case = tuple[SiteFields, PlantFacts, dict[str, Any], date, date]
SITES: dict[str, Case] = {
    "northern": (
        {"country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35},
        {"group": "hardy", "diel": "day"},
        {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15},
        date(2027, 3, 1),
        date(2027, 5, 20),
    ),
    "southern": (
        {"country": "AU", "latitude_deg": -33.8, "longitude_deg": 150.9},
        {"group": "hardy", "diel": "day"},
        {"first_month": 10, "first_day": 15, "last_month": 4, "last_day": 5},
        date(2026, 8, 1),
        date(2026, 10, 3),
    ),
    "tropical": (
        {"country": "TH", "latitude_deg": 13.8, "longitude_deg": 100.4},
        {"group": "lotos", "diel": "night"},
        {"first_month": 11, "first_day": 5, "last_month": 3, "last_day": 15},
        date(2026, 8, 1),
        date(2026, 10, 20),
    ),
}


def possible_start_days(window: BloomWindow) -> int:
    """Days in the 10–90 % range of the first flower; the whole year for a plant without a season."""
    interval = window_interval(window)
    return WHOLE_YEAR_DAYS if interval is None else (interval.start_90 - interval.start_10).days


@pytest.mark.parametrize("where", SITES)
def test_said_is_narrower_than_climate_and_a_bud_is_narrower_still(donor: Grower, where: str) -> None:
    place, kind, said, asked_on, bud_on = SITES[where]
    plant = make_plant(donor, site=make_site(donor, **place), **kind)
    by_climate = window_of(plant, asked_on)
    bloom_said_set(actor=donor, plant=plant, **said)
    by_word = window_of(plant, asked_on)
    bloom_bud_seen(actor=donor, plant=plant, seen_on=bud_on, bud_stage="at the surface")
    by_bud = window_of(plant, bud_on)
    windows = (by_climate, by_word, by_bud)
    assert [window.basis for window in windows] == ["climate", "said", "bud seen"]
    assert possible_start_days(by_climate) > possible_start_days(by_word) > possible_start_days(by_bud) > 0
    assert (by_word.start_sd, by_bud.start_sd < by_word.start_sd) == (12.0, True)
    assert [window_interval(window) is not None for window in windows[1:]] == [True, True]
    assert by_climate.flowering_chance < by_word.flowering_chance == by_bud.flowering_chance == 1.0


def test_the_tropical_climate_alone_names_no_dates(donor: Grower) -> None:
    place, kind, *_ = SITES["tropical"]
    plant = make_plant(donor, site=make_site(donor, **place), **kind)
    assert window_of(plant).all_year
    assert window_interval(window_of(plant)) is None


def test_a_count_replaces_what_a_bud_had_promised(donor: Grower) -> None:
    plant = make_plant(donor)
    bloom_bud_seen(actor=donor, plant=plant, seen_on=date(2027, 5, 20), bud_stage="at the surface")
    bloom_not_yet(actor=donor, plant=plant, seen_on=date(2027, 5, 25))
    bloom_flowers_count(actor=donor, plant=plant, seen_on=date(2027, 5, 26), flower_count=1)
    window = window_of(plant, date(2027, 5, 27))
    assert (window.basis, window.origin.year) == ("flower seen", 2027)
    assert first_bloom(window) in (date(2027, 5, 26), date(2027, 5, 27))


# --- the exact place ---


def test_two_places_of_one_cell_have_one_forecast(donor: Grower, recipient: Grower) -> None:
    near = make_site(donor, keep_exact=True, latitude_deg=48.51, longitude_deg=2.01)
    far = make_site(recipient, keep_exact=True, latitude_deg=48.99, longitude_deg=2.49)
    here, there = make_plant(donor, site=near), make_plant(recipient, site=far)
    assert window_of(here) == window_of(there)


# --- luck and queries ---


def same_luck(one: Bloom, other: Bloom) -> bool:
    names = ("start_day", "end_day", "rate_per_day", "flowers")
    pairs = [(getattr(one.scenarios, name), getattr(other.scenarios, name)) for name in names]
    return all(np.array_equal(*pair) for pair in pairs)


def test_the_same_forecast_of_a_plant_has_the_same_scenarios(plant: Plant) -> None:
    assert same_luck(forecast_of(plant), forecast_of(plant))
    assert forecast_of(plant).scenarios.start_day.size == 128
    other = make_plant(plant.grower)
    assert not same_luck(forecast_of(plant), forecast_of(other))


@pytest.mark.parametrize("count", [3, 30])
def test_five_queries_for_any_number_of_plants(
    donor: Grower, django_assert_num_queries: DjangoAssertNumQueries, count: int
) -> None:
    plants = [make_plant(donor) for _ in range(count)]
    for plant in plants:
        make_season(plant, date(2026, 6, 20), date(2026, 9, 20))
        bloom_not_yet(actor=donor, plant=plant, seen_on=date(2027, 5, 20))
    asked = loaded(*plants)
    with django_assert_num_queries(5):
        assert len(blooms(asked, date(2027, 6, 1))) == count
