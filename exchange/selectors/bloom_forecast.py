"""Bloom forecasts of plants: facts of the growers turned into windows and scenarios."""

import hashlib
from collections.abc import Collection, Iterable
from datetime import date

from exchange.matching.side import Bloom
from exchange.science import constants
from exchange.science.bloom import (
    BloomFacts,
    BloomWindow,
    BudStage,
    PlantSetting,
    SaidWindow,
    SeasonRecord,
)
from exchange.science.bloom_chain import forecast
from exchange.science.bloom_scenario import bloom_scenarios
from exchange.science.climate import climate_of
from exchange.science.version import model_version
from growers.models import Plant
from growers.selectors.bloom import PlantBloomFacts, SaidFact, bloom_facts

SAID_SD_DAYS = {
    "date": constants.SAID_DATE_SD_DAYS.value,
    "month_third": constants.SAID_MONTH_SD_DAYS.value,
}


def blooms(plants: Collection[Plant], today: date) -> dict[int, Bloom | None]:
    """The forecast of each plant by its key; None where there is none and its grower must be asked.

    ``plants`` come with ``site`` joined. Plants of the same taxon, or else of the same group, at one
    site inform each other.
    """
    kin = Plant.objects.filter(site__in={plant.site_id for plant in plants})
    neighbours = list(kin.values_list("pk", "site_id", "taxon_id", "group"))
    facts = bloom_facts({pk for pk, *_ in neighbours}, today=today)
    return {
        plant.pk: bloom(plant, facts[plant.pk], _similar(plant, neighbours, facts), today) for plant in plants
    }


def bloom(
    plant: Plant, facts: PlantBloomFacts, similar: tuple[SeasonRecord, ...], today: date
) -> Bloom | None:
    """The forecast of one plant with its scenarios."""
    window = forecast(science_facts(facts), setting(plant, similar), today)
    return None if window is None else Bloom(window, bloom_scenarios(window, seed=_seed(plant, window)))


def setting(plant: Plant, similar: tuple[SeasonRecord, ...] = ()) -> PlantSetting:
    """What a plant is and where it stands; the climate is that of the cell."""
    site = plant.site
    return PlantSetting(
        group=plant.group,
        diel="night" if plant.diel == "night" else "day",
        latitude_deg=site.cell_latitude_deg,
        monthly_mean_c=climate_of(site.cell_latitude_deg, site.cell_longitude_deg).monthly_mean_c,
        water="outdoor" if site.water == "outdoor" else "heated" if site.water == "heated" else "glass",
        crowns=plant.crowns,
        similar=similar,
    )


def science_facts(facts: PlantBloomFacts) -> BloomFacts:
    """Facts of the growers as the science takes them."""
    records = _records(facts)
    present = facts.present
    first = present.first_flower_on
    known = any(record.first == first for record in records)
    if first is not None and present.first_interval_days and not known:
        records = (*records, SeasonRecord(first, None, present.first_interval_days))
    stage: BudStage | None = present.bud_stage or None  # type: ignore[assignment]
    return BloomFacts(
        records=records,
        said=_said(facts.said),
        first_seen=None if present.first_interval_days else first,
        last_seen=present.season_over_on,
        not_yet=present.not_yet_on,
        bud_stage=stage,
        bud_seen=present.bud_seen_on,
        all_year=facts.said is not None and facts.said.all_year,
        weak_months=frozenset(facts.said.weak_months) if facts.said else frozenset(),
        flower_counts=present.flower_counts,
    )


def _records(facts: PlantBloomFacts) -> tuple[SeasonRecord, ...]:
    return tuple(
        SeasonRecord(season.first_flower_on, season.last_flower_on, season.first_interval_days)
        for season in facts.seasons
    )


def _said(said: SaidFact | None) -> SaidWindow | None:
    if said is None or said.all_year:
        return None
    if None in (said.first_month, said.first_day, said.last_month, said.last_day):
        return None
    return SaidWindow(
        (said.first_month or 0, said.first_day or 0),
        (said.last_month or 0, said.last_day or 0),
        SAID_SD_DAYS[said.precision],
    )


def _similar(
    plant: Plant,
    neighbours: Iterable[tuple[int, int, int | None, str]],
    facts: dict[int, PlantBloomFacts],
) -> tuple[SeasonRecord, ...]:
    here = [row for row in neighbours if row[1] == plant.site_id and row[0] != plant.pk]
    of_taxon = [row[0] for row in here if plant.taxon_id is not None and row[2] == plant.taxon_id]
    of_group = [row[0] for row in here if row[3] == plant.group]
    for keys in (of_taxon, of_group):
        found = tuple(record for key in keys for record in _records(facts[key]))
        if found:
            return found
    return ()


def _seed(plant: Plant, window: BloomWindow) -> int:
    """A seed that stays while the forecast stays: the same question is never answered by other luck."""
    text = f"{plant.public_id} {window!r} {model_version()}"
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")
