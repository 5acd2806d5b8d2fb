"""Bloom facts for forecasts: seasons with what is known of their ends, and the season that is present."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from growers.models import Grower, Plant
from growers.selectors.bloom import PlantBloomFacts, SaidFact, bloom_facts
from growers.selectors.bloom_season import PresentSeason, SeasonFact
from growers.services.bloom import (
    bloom_bud_seen,
    bloom_flowers_count,
    bloom_not_yet,
    bloom_said_set,
    bloom_season_over,
    bloom_season_record,
)
from tests.factories import make_plant, make_season

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(donor: Grower) -> Plant:
    return make_plant(donor)


def facts(plant: Plant, today: date) -> PlantBloomFacts:
    return bloom_facts([plant.pk], today=today)[plant.pk]


def see(plant: Plant, write: Callable[..., object], *days: date, **values: Any) -> None:
    for day in days:
        write(actor=plant.grower, plant=plant, seen_on=day, **values)


def test_nothing_told_is_nothing_known(plant: Plant) -> None:
    day = date(2026, 6, 1)
    assert facts(plant, day) == PlantBloomFacts(plant.pk, day, (), None, PresentSeason())


@pytest.mark.parametrize(("precision", "days"), [("day", 0), ("week", 7), ("month_third", 10), ("month", 30)])
def test_a_precision_is_an_interval_of_days(plant: Plant, precision: str, days: int) -> None:
    first, last = date(2025, 6, 1), date(2025, 8, 1)
    bloom_season_record(
        actor=plant.grower,
        plant=plant,
        first_flower_on=first,
        last_flower_on=last,
        first_precision=precision,
        last_precision=precision,
    )
    assert facts(plant, date(2026, 3, 1)).seasons == (SeasonFact(first, days, last, days),)


def test_a_season_that_is_on_has_its_first_flower_and_no_last(plant: Plant) -> None:
    make_season(plant, date(2025, 6, 1), date(2025, 8, 1))
    make_season(plant, date(2026, 6, 3))
    see(plant, bloom_flowers_count, date(2026, 6, 10), flower_count=2)
    see(plant, bloom_flowers_count, date(2026, 6, 11), flower_count=0)
    known = facts(plant, date(2026, 6, 20))
    assert known.seasons[1] == SeasonFact(date(2026, 6, 3), 0, None, 0)
    assert known.present == PresentSeason(
        first_flower_on=date(2026, 6, 3),
        flower_counts=((date(2026, 6, 10), 2), (date(2026, 6, 11), 0)),
    )


def test_what_is_later_than_today_is_left_out(plant: Plant) -> None:
    make_season(plant, date(2026, 6, 3), date(2026, 8, 1))
    see(plant, bloom_not_yet, date(2026, 5, 1), date(2026, 6, 1))
    assert facts(plant, date(2026, 5, 15)).present == PresentSeason(not_yet_on=date(2026, 5, 1))
    assert facts(plant, date(2026, 5, 15)).seasons == ()
    during = facts(plant, date(2026, 7, 1))
    assert during.seasons == (SeasonFact(date(2026, 6, 3), 0, None, 0),)
    assert during.present.season_over_on is None


def test_the_newest_look_before_the_first_flower_counts(plant: Plant) -> None:
    see(plant, bloom_not_yet, date(2026, 5, 20), date(2026, 5, 1))
    see(plant, bloom_bud_seen, date(2026, 5, 10), bud_stage="under water")
    see(plant, bloom_bud_seen, date(2026, 5, 19), bud_stage="at the surface")
    assert facts(plant, date(2026, 5, 21)).present == PresentSeason(
        not_yet_on=date(2026, 5, 20), bud_seen_on=date(2026, 5, 19), bud_stage="at the surface"
    )


def test_looks_of_last_season_tell_nothing_of_this_one(plant: Plant) -> None:
    see(plant, bloom_bud_seen, date(2025, 5, 20), bud_stage="showing colour")
    make_season(plant, date(2025, 6, 1), date(2025, 8, 1))
    see(plant, bloom_not_yet, date(2026, 4, 20))
    assert facts(plant, date(2026, 5, 1)).present == PresentSeason(not_yet_on=date(2026, 4, 20))


def test_a_bud_that_nobody_followed_up_is_forgotten_after_half_a_year(plant: Plant) -> None:
    see(plant, bloom_bud_seen, date(2026, 5, 20), bud_stage="showing colour")
    assert facts(plant, date(2026, 11, 18)).present.bud_seen_on == date(2026, 5, 20)
    assert facts(plant, date(2026, 11, 20)).present == PresentSeason()


def test_flowers_counted_without_a_record_stand_for_the_beginning(plant: Plant) -> None:
    see(plant, bloom_flowers_count, date(2026, 6, 1), flower_count=0)
    see(plant, bloom_flowers_count, date(2026, 6, 9), flower_count=1)
    assert facts(plant, date(2026, 6, 10)).present == PresentSeason(
        first_flower_on=date(2026, 6, 9),
        first_interval_days=30,
        flower_counts=((date(2026, 6, 9), 1),),
    )
    see(plant, bloom_not_yet, date(2026, 6, 4))
    assert facts(plant, date(2026, 6, 10)).present.first_interval_days == 5


def test_a_season_that_just_ended_is_over_and_a_record(plant: Plant) -> None:
    see(plant, bloom_bud_seen, date(2026, 5, 20), bud_stage="showing colour")
    make_season(plant, date(2026, 6, 1), date(2026, 8, 1))
    see(plant, bloom_flowers_count, date(2026, 6, 9), flower_count=1)
    see(plant, bloom_season_over, date(2026, 8, 10))
    known = facts(plant, date(2026, 9, 1))
    assert known.seasons == (SeasonFact(date(2026, 6, 1), 0, date(2026, 8, 1), 0),)
    assert known.present == PresentSeason(
        first_flower_on=date(2026, 6, 1),
        season_over_on=date(2026, 8, 1),
        flower_counts=((date(2026, 6, 9), 1),),
    )
    assert facts(plant, date(2027, 2, 20)).present == PresentSeason()


def test_a_season_seen_to_be_over_ends_within_the_days_nobody_looked(plant: Plant) -> None:
    make_season(plant, date(2026, 6, 1))
    see(plant, bloom_flowers_count, date(2026, 8, 1), flower_count=1)
    see(plant, bloom_flowers_count, date(2026, 8, 5), flower_count=0)
    see(plant, bloom_season_over, date(2026, 8, 12), date(2026, 8, 20))
    assert facts(plant, date(2026, 9, 1)).seasons == (SeasonFact(date(2026, 6, 1), 0, date(2026, 8, 12), 11),)
    assert facts(plant, date(2026, 9, 1)).present.season_over_on == date(2026, 8, 12)


def test_a_season_left_open_ends_where_the_next_spring_shows_no_flower(plant: Plant) -> None:
    make_season(plant, date(2025, 6, 1))
    see(plant, bloom_not_yet, date(2026, 4, 20))
    known = facts(plant, date(2026, 5, 1))
    assert known.seasons == (SeasonFact(date(2025, 6, 1), 0, date(2026, 4, 19), 322),)
    assert known.present == PresentSeason(not_yet_on=date(2026, 4, 20))


def test_a_flush_counted_after_the_record_ended_is_a_season_of_its_own(plant: Plant) -> None:
    make_season(plant, date(2026, 1, 1), date(2026, 2, 1))
    see(plant, bloom_flowers_count, date(2026, 4, 10), flower_count=1)
    assert facts(plant, date(2026, 4, 20)).present.first_flower_on == date(2026, 4, 10)
    see(plant, bloom_season_over, date(2026, 6, 1))
    assert facts(plant, date(2026, 6, 2)).present == PresentSeason(
        first_flower_on=date(2026, 4, 10),
        first_interval_days=30,
        season_over_on=date(2026, 6, 1),
        flower_counts=((date(2026, 4, 10), 1),),
    )


def test_a_season_never_closed_is_not_on_after_a_year(plant: Plant) -> None:
    make_season(plant, date(2025, 6, 1))
    assert facts(plant, date(2026, 6, 1)).present.first_flower_on == date(2025, 6, 1)
    assert facts(plant, date(2026, 6, 2)).present == PresentSeason()


def test_what_the_grower_said_is_told_as_said(plant: Plant) -> None:
    bloom_said_set(actor=plant.grower, plant=plant, first_month=11, first_day=5, last_month=3, last_day=25)
    assert facts(plant, date(2026, 6, 1)).said == SaidFact(False, (), 11, 5, 3, 25, "month_third")
    bloom_said_set(actor=plant.grower, plant=plant, all_year=True, weak_months=[7, 6])
    assert facts(plant, date(2026, 6, 1)).said == SaidFact(
        True, (6, 7), None, None, None, None, "month_third"
    )


def test_any_number_of_plants_takes_four_queries(donor: Grower, django_assert_num_queries: Any) -> None:
    plants = [make_plant(donor) for _ in range(5)]
    for plant in plants:
        make_season(plant, date(2025, 6, 1), date(2025, 8, 1))
        see(plant, bloom_not_yet, date(2026, 4, 20))
    with django_assert_num_queries(4):
        known = bloom_facts([plant.pk for plant in plants], today=date(2026, 5, 1))
    assert sorted(known) == [plant.pk for plant in plants]
    assert {len(each.seasons) for each in known.values()} == {1}
