"""Bloom facts are written by their owner, in order, and noted; what is refused changes nothing."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from growers.errors import DomainError, InvalidInput, NotFound
from growers.models import BloomSaid, BloomSeason, BloomSighting, Change, Grower, Plant
from growers.services.bloom import (
    bloom_bud_seen,
    bloom_flowers_count,
    bloom_not_yet,
    bloom_said_set,
    bloom_season_over,
    bloom_season_record,
    bloom_season_update,
)
from tests.clock import MovableClock
from tests.factories import make_plant, make_season, make_site

pytestmark = pytest.mark.django_db

MARCH, JUNE, AUGUST = date(2026, 3, 1), date(2026, 6, 1), date(2026, 8, 20)


@pytest.fixture(autouse=True)
def autumn(clock: MovableClock) -> None:
    """It is 24 November 2026, noon in UTC."""
    clock.set(datetime(2026, 11, 24, 12, tzinfo=UTC))


@pytest.fixture
def plant(donor: Grower) -> Plant:
    return make_plant(donor)


def stored() -> list[Any]:
    return [sorted(model.objects.values_list()) for model in (BloomSeason, BloomSaid, BloomSighting, Change)]


def refusal(kind: type[DomainError], write: Any, **values: Any) -> Any:
    """The error of a write that is refused, and that changed nothing."""
    before = stored()
    with pytest.raises(kind) as caught:
        write(**values)
    assert stored() == before
    return caught.value


def test_a_season_is_recorded_and_noted_for_its_plant(donor: Grower, plant: Plant) -> None:
    Change.objects.all().delete()
    season = bloom_season_record(
        actor=donor, plant=plant, first_flower_on=JUNE, last_flower_on=AUGUST, last_precision="week"
    )
    season.refresh_from_db()
    assert (season.first_flower_on, season.first_precision) == (JUNE, "day")
    assert (season.last_flower_on, season.last_precision) == (AUGUST, "week")
    assert list(Change.objects.values_list("kind", "subject_id")) == [("bloom", plant.pk)]


def test_a_season_may_cross_new_year(donor: Grower, plant: Plant) -> None:
    first, last = date(2025, 11, 10), date(2026, 4, 2)
    season = bloom_season_record(actor=donor, plant=plant, first_flower_on=first, last_flower_on=last)
    assert season.last_flower_on == last


def test_a_season_of_a_year_is_the_longest(donor: Grower, plant: Plant, clock: MovableClock) -> None:
    clock.set(datetime(2027, 12, 1, tzinfo=UTC))
    error = refusal(
        InvalidInput,
        bloom_season_record,
        actor=donor,
        plant=plant,
        first_flower_on=date(2026, 5, 1),
        last_flower_on=date(2027, 9, 1),
    )
    assert error.detail == (
        "last_flower_on is 2027-09-01, 488 days after first_flower_on; allowed: at most 365 days."
    )
    assert (error.problems[0].pointer, error.problems[0].code) == ("/last_flower_on", "season_too_long")
    season = make_season(plant, date(2026, 5, 1), date(2027, 5, 1))
    assert season.last_flower_on == date(2027, 5, 1)
    refusal(
        InvalidInput,
        bloom_season_update,
        actor=donor,
        season=season,
        first_flower_on=date(2026, 5, 1),
        last_flower_on=date(2027, 5, 2),
    )


def test_a_season_that_ends_before_it_begins_is_refused(donor: Grower, plant: Plant) -> None:
    error = refusal(
        InvalidInput,
        bloom_season_record,
        actor=donor,
        plant=plant,
        first_flower_on=JUNE,
        last_flower_on=date(2026, 5, 31),
    )
    assert error.detail == (
        "last_flower_on is 2026-05-31; allowed: 2026-06-01, the first_flower_on, or later."
    )


def test_the_future_and_mistyped_years_are_refused(donor: Grower, plant: Plant) -> None:
    for day in (date(2026, 11, 25), date(202, 6, 1)):
        error = refusal(InvalidInput, bloom_season_record, actor=donor, plant=plant, first_flower_on=day)
        assert error.detail == (
            f"first_flower_on is {day}; allowed: 1900-01-01 to 2026-11-24, today at the plant's site."
        )


def test_today_is_the_civil_date_at_the_plants_place(donor: Grower, clock: MovableClock) -> None:
    clock.set(datetime(2026, 11, 24, 15, tzinfo=UTC))
    sydney = make_site(donor, name="south", country="AU", latitude_deg=-33.9, longitude_deg=151.2)
    assert sydney.cell_zone == "Australia/Sydney"
    south, north = make_plant(donor, site=sydney), make_plant(donor, site=make_site(donor))
    tomorrow = date(2026, 11, 25)
    assert bloom_season_record(actor=donor, plant=south, first_flower_on=tomorrow).pk
    refusal(InvalidInput, bloom_season_record, actor=donor, plant=north, first_flower_on=tomorrow)


def test_an_unknown_precision_is_refused_with_the_words_allowed(donor: Grower, plant: Plant) -> None:
    error = refusal(
        InvalidInput,
        bloom_season_record,
        actor=donor,
        plant=plant,
        first_flower_on=JUNE,
        first_precision="roughly",
    )
    assert error.detail == "first_precision is 'roughly'; allowed: day, week, month_third, month."


@pytest.mark.parametrize(
    ("first", "last"),
    [
        (date(2026, 5, 1), JUNE),
        (JUNE, AUGUST),
        (date(2026, 7, 1), date(2026, 7, 2)),
        (AUGUST, date(2026, 9, 1)),
        (date(2026, 5, 1), None),
        (date(2026, 5, 1), date(2026, 9, 30)),
    ],
)
def test_seasons_of_a_plant_may_not_overlap(
    donor: Grower, plant: Plant, first: date, last: date | None
) -> None:
    make_season(plant, JUNE, AUGUST)
    error = refusal(
        InvalidInput,
        bloom_season_record,
        actor=donor,
        plant=plant,
        first_flower_on=first,
        last_flower_on=last,
    )
    assert error.problems[0].code == "seasons_overlap"
    assert "a season from 2026-06-01 until 2026-08-20 is on record" in error.detail


def test_seasons_that_only_touch_and_those_of_other_plants_may_stand(donor: Grower, plant: Plant) -> None:
    make_season(plant, JUNE, AUGUST)
    make_season(plant, date(2026, 5, 1), date(2026, 5, 31))
    make_season(plant, date(2026, 8, 21), date(2026, 9, 1))
    make_season(make_plant(donor), JUNE, AUGUST)
    assert plant.bloom_seasons.count() == 3


def test_one_season_is_not_recorded_twice_while_it_is_on(donor: Grower, plant: Plant) -> None:
    make_season(plant, JUNE)
    error = refusal(
        InvalidInput, bloom_season_record, actor=donor, plant=plant, first_flower_on=date(2026, 7, 31)
    )
    assert "a season from 2026-06-01 (no last_flower_on, counted as 60 days) is on record" in error.detail
    assert make_season(plant, date(2026, 8, 1)).pk


def test_an_update_replaces_the_days_and_is_not_held_against_itself(donor: Grower, plant: Plant) -> None:
    season = make_season(plant, JUNE)
    Change.objects.all().delete()
    updated = bloom_season_update(
        actor=donor,
        season=season,
        first_flower_on=date(2026, 6, 3),
        last_flower_on=AUGUST,
        first_precision="week",
    )
    assert BloomSeason.objects.values_list(
        "pk", "first_flower_on", "last_flower_on", "first_precision"
    ).get() == (
        updated.pk,
        date(2026, 6, 3),
        AUGUST,
        "week",
    )
    assert Change.objects.get().subject_id == plant.pk


def test_an_update_may_not_run_into_another_season(donor: Grower, plant: Plant) -> None:
    make_season(plant, date(2026, 8, 1), AUGUST)
    season = make_season(plant, date(2026, 5, 1), date(2026, 5, 31))
    refusal(
        InvalidInput,
        bloom_season_update,
        actor=donor,
        season=season,
        first_flower_on=date(2026, 5, 1),
        last_flower_on=date(2026, 8, 1),
    )


def test_a_window_said_is_set_and_set_anew(donor: Grower, plant: Plant) -> None:
    bloom_said_set(actor=donor, plant=plant, first_month=6, first_day=5, last_month=9, last_day=15)
    Change.objects.all().delete()
    said = bloom_said_set(actor=donor, plant=plant, all_year=True, weak_months=(8, 7))
    assert BloomSaid.objects.get() == said
    assert (said.all_year, said.weak_months, said.first_month, said.last_day) == (True, [7, 8], None, None)
    assert Change.objects.get().kind == "bloom"


def test_a_window_said_may_cross_new_year_and_fall_on_a_leap_day(donor: Grower, plant: Plant) -> None:
    said = bloom_said_set(
        actor=donor,
        plant=plant,
        first_month=11,
        first_day=1,
        last_month=2,
        last_day=29,
        precision="date",
    )
    assert (said.first_month, said.last_month, said.last_day, said.precision) == (11, 2, 29, "date")


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        (
            {"first_month": 6, "first_day": 5, "last_month": 9},
            "last_day is missing; allowed: a day from 1 to 30.",
        ),
        (
            {"first_month": 6, "first_day": 5, "last_day": 9},
            "last_month is missing; allowed: a month from 1 to 12.",
        ),
        (
            {"first_month": 13, "first_day": 5, "last_month": 9, "last_day": 1},
            "first_month is 13; allowed: a month from 1 to 12.",
        ),
        (
            {"first_month": 2, "first_day": 30, "last_month": 9, "last_day": 1},
            "first_day is 30; allowed: a day from 1 to 29.",
        ),
        (
            {"all_year": True, "weak_months": [0]},
            "weak_months is [0]; allowed: months from 1 to 12, each once, at most 11.",
        ),
        (
            {"all_year": True, "weak_months": [7, 7]},
            "weak_months is [7, 7]; allowed: months from 1 to 12, each once, at most 11.",
        ),
        (
            {"all_year": True, "weak_months": list(range(1, 13))},
            "weak_months is [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]; "
            "allowed: months from 1 to 12, each once, at most 11.",
        ),
        (
            {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 1, "weak_months": [7]},
            "weak_months is [7]; allowed: months only where all_year is said.",
        ),
        (
            {"all_year": True, "first_month": 6},
            "first_month is 6; allowed: nothing where all_year is said.",
        ),
        ({"all_year": True, "precision": "hour"}, "precision is 'hour'; allowed: date, month_third."),
    ],
)
def test_an_incomplete_window_is_refused(
    donor: Grower, plant: Plant, values: dict[str, Any], sentence: str
) -> None:
    error = refusal(InvalidInput, bloom_said_set, actor=donor, plant=plant, **values)
    assert error.detail == sentence


def test_sightings_are_kept_by_kind_and_day_and_corrected_when_told_again(
    donor: Grower, plant: Plant
) -> None:
    day = date(2026, 5, 20)
    bloom_not_yet(actor=donor, plant=plant, seen_on=day)
    bloom_bud_seen(actor=donor, plant=plant, seen_on=day, bud_stage="under water")
    bloom_bud_seen(actor=donor, plant=plant, seen_on=day, bud_stage="showing colour")
    bloom_flowers_count(actor=donor, plant=plant, seen_on=JUNE, flower_count=0)
    bloom_flowers_count(actor=donor, plant=plant, seen_on=JUNE, flower_count=2)
    bloom_season_over(actor=donor, plant=plant, seen_on=AUGUST)
    columns = ("seen_on", "kind", "bud_stage", "flower_count")
    assert list(BloomSighting.objects.order_by("seen_on", "kind").values_list(*columns)) == [
        (day, "bud", "showing colour", None),
        (day, "not_yet", "", None),
        (JUNE, "first_day_flowers", "", 2),
        (AUGUST, "season_over", "", None),
    ]


def test_every_sighting_is_noted(donor: Grower, plant: Plant) -> None:
    for write, values in SIGHTINGS:
        Change.objects.all().delete()
        write(actor=donor, plant=plant, seen_on=MARCH, **values)
        assert list(Change.objects.values_list("kind", "subject_id")) == [("bloom", plant.pk)]


SIGHTINGS: list[tuple[Any, dict[str, Any]]] = [
    (bloom_not_yet, {}),
    (bloom_bud_seen, {"bud_stage": "at the surface"}),
    (bloom_flowers_count, {"flower_count": 1}),
    (bloom_season_over, {}),
]


@pytest.mark.parametrize(("write", "values"), SIGHTINGS)
def test_a_sighting_of_tomorrow_is_refused(
    donor: Grower, plant: Plant, write: Any, values: dict[str, Any]
) -> None:
    error = refusal(InvalidInput, write, actor=donor, plant=plant, seen_on=date(2026, 11, 25), **values)
    assert error.problems[0].pointer == "/seen_on"


def test_an_unknown_bud_stage_is_refused_with_the_words_allowed(donor: Grower, plant: Plant) -> None:
    error = refusal(InvalidInput, bloom_bud_seen, actor=donor, plant=plant, seen_on=JUNE, bud_stage="pink")
    assert error.detail == "bud_stage is 'pink'; allowed: under water, at the surface, showing colour."


@pytest.mark.parametrize("count", [-1, 1001, 1.5, True])
def test_a_count_no_plant_can_have_is_refused(donor: Grower, plant: Plant, count: Any) -> None:
    error = refusal(
        InvalidInput, bloom_flowers_count, actor=donor, plant=plant, seen_on=JUNE, flower_count=count
    )
    assert error.detail == f"flower_count is {count}; allowed: a whole number from 0 to 1000."


def test_no_flower_yet_is_refused_in_the_middle_of_a_season_on_record(donor: Grower, plant: Plant) -> None:
    make_season(plant, JUNE, AUGUST)
    error = refusal(InvalidInput, bloom_not_yet, actor=donor, plant=plant, seen_on=date(2026, 7, 1))
    assert error.detail == (
        "seen_on is 2026-07-01, and a first flower is on record for 2026-06-01; "
        "allowed: a day outside the seasons on record."
    )
    assert bloom_not_yet(actor=donor, plant=plant, seen_on=date(2026, 5, 31)).pk


def writes(plant: Plant, season: BloomSeason) -> list[tuple[Any, dict[str, Any]]]:
    days = {"first_flower_on": date(2025, 6, 1), "last_flower_on": date(2025, 7, 1)}
    return [
        (bloom_season_record, {"plant": plant, **days}),
        (bloom_season_update, {"season": season, **days}),
        (bloom_said_set, {"plant": plant, "all_year": True}),
        *((write, {"plant": plant, "seen_on": MARCH, **values}) for write, values in SIGHTINGS),
    ]


def test_to_anybody_but_the_owner_the_plant_does_not_exist(outsider: Grower, plant: Plant) -> None:
    season = make_season(plant, JUNE, AUGUST)
    for write, values in writes(plant, season):
        error = refusal(NotFound, write, actor=outsider, **values)
        assert error.detail == "There is no such plant."


def test_a_season_that_is_gone_cannot_be_updated(donor: Grower, plant: Plant) -> None:
    season = make_season(plant, JUNE, AUGUST)
    BloomSeason.objects.all().delete()
    refusal(
        NotFound, bloom_season_update, actor=donor, season=season, first_flower_on=JUNE, last_flower_on=None
    )


@pytest.mark.django_db(transaction=True)
def test_of_two_seasons_told_at_one_moment_that_overlap_one_is_kept(donor: Grower, plant: Plant) -> None:
    start = Barrier(2)

    def record(first: date) -> str:
        start.wait(timeout=20)
        try:
            bloom_season_record(actor=donor, plant=plant, first_flower_on=first, last_flower_on=AUGUST)
        except InvalidInput as error:
            return error.problems[0].code
        else:
            return "kept"
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        outcomes = list(pool.map(record, (JUNE, date(2026, 7, 1))))
    assert sorted(outcomes) == ["kept", "seasons_overlap"]
    assert BloomSeason.objects.filter(plant=plant).count() == 1
