"""Bloom: seasons on record, windows only said, and what was seen on a day.

Every fact is the owner's to write; to anybody else the plant does not exist.
"""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date

from django.db import transaction

from growers.errors import NotFound
from growers.models import BloomSaid, BloomSeason, BloomSighting, Change, Grower, Plant
from growers.services import bloom_rule, change
from growers.services.bloom_rule import SaidWords, SeasonDates
from growers.services.problem import Problems


def bloom_season_record(
    *,
    actor: Grower,
    plant: Plant,
    first_flower_on: date,
    last_flower_on: date | None = None,
    first_precision: str = BloomSeason.Precision.DAY,
    last_precision: str = BloomSeason.Precision.DAY,
) -> BloomSeason:
    """Record a season; without a last flower it is still on, or its end was not seen."""
    dates = SeasonDates(first_flower_on, last_flower_on, first_precision, last_precision)
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, plant)
        _season_refuse(own, dates)
        season = BloomSeason(plant=own)
        _season_save(season, dates)
    return season


def bloom_season_update(
    *,
    actor: Grower,
    season: BloomSeason,
    first_flower_on: date,
    last_flower_on: date | None,
    first_precision: str = BloomSeason.Precision.DAY,
    last_precision: str = BloomSeason.Precision.DAY,
) -> BloomSeason:
    """Replace the days of a recorded season."""
    dates = SeasonDates(first_flower_on, last_flower_on, first_precision, last_precision)
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, season.plant)
        stored = BloomSeason.objects.filter(pk=season.pk, plant=own).first()
        if stored is None:
            raise NotFound("There is no such season.")
        _season_refuse(own, dates, instead_of=stored)
        _season_save(stored, dates)
    return stored


def bloom_said_set(
    *,
    actor: Grower,
    plant: Plant,
    all_year: bool = False,
    weak_months: Sequence[int] = (),
    first_month: int | None = None,
    first_day: int | None = None,
    last_month: int | None = None,
    last_day: int | None = None,
    precision: str = BloomSaid.Precision.MONTH_THIRD,
) -> BloomSaid:
    """Set the usual window as its grower says it, in place of what was said before."""
    words = SaidWords(all_year, weak_months, first_month, first_day, last_month, last_day, precision)
    problems = Problems()
    bloom_rule.said_check(problems, words)
    problems.refuse_if_any()
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, plant)
        values = asdict(words) | {"weak_months": sorted(weak_months)}
        said, _ = BloomSaid.objects.update_or_create(plant=own, defaults=values)
        change.note(Change.Kind.BLOOM, own)
    return said


def bloom_not_yet(*, actor: Grower, plant: Plant, seen_on: date) -> BloomSighting:
    """Note that no flower had opened yet on a day."""
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, plant)
        problems = Problems()
        bloom_rule.not_yet_check(problems, seen_on, _seasons(own))
        return _sighting_set(own, seen_on, BloomSighting.Kind.NOT_YET, problems)


def bloom_bud_seen(*, actor: Grower, plant: Plant, seen_on: date, bud_stage: str) -> BloomSighting:
    """Note the stage of the bud that is furthest on."""
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, plant)
        problems = Problems()
        stages = BloomSighting.BudStage.values
        if bud_stage not in stages:
            problems.add("bud_stage", bud_stage, ", ".join(stages), code="not_a_choice")
        return _sighting_set(own, seen_on, BloomSighting.Kind.BUD, problems, bud_stage=bud_stage)


def bloom_flowers_count(*, actor: Grower, plant: Plant, seen_on: date, flower_count: int) -> BloomSighting:
    """Note how many flowers opened for the first time on a day; none is a count too."""
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, plant)
        problems = Problems()
        bloom_rule.count_check(problems, flower_count)
        kind = BloomSighting.Kind.FIRST_DAY_FLOWERS
        return _sighting_set(own, seen_on, kind, problems, flower_count=flower_count)


def bloom_season_over(*, actor: Grower, plant: Plant, seen_on: date) -> BloomSighting:
    """Note that the season was seen to be over; the day of the last flower is not made up from it."""
    with transaction.atomic():
        own = bloom_rule.own_plant(actor, plant)
        return _sighting_set(own, seen_on, BloomSighting.Kind.SEASON_OVER, Problems())


def _seasons(plant: Plant, *, instead_of: BloomSeason | None = None) -> list[SeasonDates]:
    stored = plant.bloom_seasons.order_by("first_flower_on")
    return [bloom_rule.dates_of(season) for season in stored if season != instead_of]


def _season_refuse(plant: Plant, dates: SeasonDates, *, instead_of: BloomSeason | None = None) -> None:
    problems = Problems()
    bloom_rule.season_check(problems, dates, bloom_rule.today_at(plant))
    problems.refuse_if_any()
    bloom_rule.overlap_check(problems, dates, _seasons(plant, instead_of=instead_of))
    problems.refuse_if_any()


def _season_save(season: BloomSeason, dates: SeasonDates) -> None:
    season.first_flower_on, season.first_precision = dates.first_flower_on, dates.first_precision
    season.last_flower_on, season.last_precision = dates.last_flower_on, dates.last_precision
    season.save()
    change.note(Change.Kind.BLOOM, season.plant)


def _sighting_set(
    plant: Plant,
    seen_on: date,
    kind: BloomSighting.Kind,
    problems: Problems,
    *,
    bud_stage: str = "",
    flower_count: int | None = None,
) -> BloomSighting:
    """Write one sighting; the same kind told again for the same day corrects it."""
    bloom_rule.day_check(problems, "seen_on", seen_on, bloom_rule.today_at(plant))
    problems.refuse_if_any()
    sighting, _ = BloomSighting.objects.update_or_create(
        plant=plant,
        seen_on=seen_on,
        kind=kind,
        defaults={"bud_stage": bud_stage, "flower_count": flower_count},
    )
    change.note(Change.Kind.BLOOM, plant)
    return sighting
