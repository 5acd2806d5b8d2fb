"""What is known of the bloom of plants, as plain data for a forecast: four queries for any number."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from growers import clock
from growers.models import BloomSaid, BloomSeason, BloomSighting, Plant
from growers.selectors.bloom_season import PresentSeason, SeasonFact, SightingFact, finished, present_season

INTERVAL_DAYS = {"day": 0, "week": 7, "month_third": 10, "month": 30}


@dataclass(frozen=True)
class SaidFact:
    """The usual window as the grower says it: days of the year, or all year with its weak months."""

    all_year: bool
    weak_months: tuple[int, ...]
    first_month: int | None
    first_day: int | None
    last_month: int | None
    last_day: int | None
    precision: str


@dataclass(frozen=True)
class PlantBloomFacts:
    """Everything reported of one plant's bloom up to ``today``, the civil date at its place."""

    plant_id: int
    today: date
    seasons: tuple[SeasonFact, ...]
    said: SaidFact | None
    present: PresentSeason


def bloom_facts(plant_ids: Collection[int], *, today: date | None = None) -> dict[int, PlantBloomFacts]:
    """Bloom facts by plant; ``today`` replaces each plant's own civil date, and later facts are left out."""
    zones = Plant.objects.filter(pk__in=plant_ids).values_list("pk", "site__cell_zone")
    todays = {plant: today or clock.today(zone) for plant, zone in zones}
    seasons = _seasons(todays)
    sightings = _sightings(todays)
    said = {row.plant_id: _said(row) for row in BloomSaid.objects.filter(plant__in=todays)}
    return {
        plant: _facts(plant, day, seasons.get(plant, ()), said.get(plant), sightings.get(plant, ()))
        for plant, day in todays.items()
    }


def _facts(
    plant: int,
    today: date,
    seasons: Iterable[SeasonFact],
    said: SaidFact | None,
    sightings: Iterable[SightingFact],
) -> PlantBloomFacts:
    seen = tuple(sightings)
    known = finished(tuple(seasons), seen)
    return PlantBloomFacts(plant, today, known, said, present_season(known, seen, today))


def _seasons(todays: dict[int, date]) -> dict[int, list[SeasonFact]]:
    found: dict[int, list[SeasonFact]] = {}
    for row in BloomSeason.objects.filter(plant__in=todays).order_by("plant", "first_flower_on"):
        if row.first_flower_on <= todays[row.plant_id]:
            found.setdefault(row.plant_id, []).append(_season(row, todays[row.plant_id]))
    return found


def _season(row: BloomSeason, today: date) -> SeasonFact:
    last = row.last_flower_on
    if last is not None and last > today:
        last = None
    first_interval, last_interval = INTERVAL_DAYS[row.first_precision], INTERVAL_DAYS[row.last_precision]
    return SeasonFact(row.first_flower_on, first_interval, last, last_interval if last else 0)


def _sightings(todays: dict[int, date]) -> dict[int, list[SightingFact]]:
    found: dict[int, list[SightingFact]] = {}
    for row in BloomSighting.objects.filter(plant__in=todays).order_by("plant", "seen_on", "kind"):
        if row.seen_on <= todays[row.plant_id]:
            fact = SightingFact(row.seen_on, row.kind, row.bud_stage, row.flower_count or 0)
            found.setdefault(row.plant_id, []).append(fact)
    return found


def _said(row: BloomSaid) -> SaidFact:
    return SaidFact(
        row.all_year,
        tuple(row.weak_months),
        row.first_month,
        row.first_day,
        row.last_month,
        row.last_day,
        row.precision,
    )
