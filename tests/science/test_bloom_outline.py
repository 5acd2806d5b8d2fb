"""The usual season: hemisphere, climate, similar plants, the grower's word, own records."""

import math
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from exchange.science import constants
from exchange.science.bloom import PlantSetting, SaidWindow, SeasonRecord
from exchange.science.bloom_outline import (
    SeasonOutline,
    all_year_outline,
    no_outline_reason,
    outline_from_day,
    prior_outline,
    recorded_outline,
)
from exchange.science.climate_season import climate_season
from exchange.science.season_statistic import Normal, common_day_of_year
from tests.published import Row, cases

GIVERNY = np.array([4.51, 5.23, 7.59, 10.41, 13.70, 17.33, 19.07, 18.82, 15.80, 12.30, 7.95, 5.25])
BANGKOK = np.array([26.58, 28.09, 29.58, 30.77, 30.42, 30.01, 29.44, 29.43, 28.85, 28.49, 28.00, 26.71])


def plant(**changes: object) -> PlantSetting:
    values = {
        "group": "hardy",
        "diel": "day",
        "latitude_deg": 49.0,
        "monthly_mean_c": GIVERNY,
        "water": "outdoor",
    }
    return PlantSetting(**(values | changes))  # type: ignore[arg-type]


def place(inputs: dict[str, Any]) -> SeasonOutline:
    where = plant(latitude_deg=inputs["latitude_deg"], group=inputs["group"], monthly_mean_c=None)
    return found(prior_outline(None, where))


def found(outline: SeasonOutline | None) -> SeasonOutline:
    assert outline is not None
    return outline


def season(year: int, first_day: int, length_days: int | None = None) -> SeasonRecord:
    first = date(year, 1, 1) + timedelta(days=first_day - 1)
    return SeasonRecord(first, None if length_days is None else first + timedelta(days=length_days))


def recorded(inputs: dict[str, Any]) -> SeasonOutline:
    prior = SeasonOutline(
        Normal(inputs["prior_mean"], inputs["prior_sd"]), Normal(250.0, 12.2), "similar plants"
    )
    years = (2021, 2022, 2023)
    records = [season(year, day) for year, day in zip(years, inputs["years"], strict=False)]
    return found(recorded_outline(records, prior))


def said_sd(inputs: dict[str, Any]) -> float:
    sd = {"month": constants.SAID_MONTH_SD_DAYS, "date": constants.SAID_DATE_SD_DAYS}[inputs["precision"]]
    return found(prior_outline(SaidWindow((6, 1), (9, 1), sd.value), plant())).start.sd


CALLS: dict[str, Callable[[dict[str, Any]], float]] = {
    "outline_mean": lambda i: recorded(i).start.mean,
    "outline_sd": lambda i: recorded(i).start.sd,
    "hemisphere_first": lambda i: place(i).start.mean,
    "hemisphere_last": lambda i: place(i).end.mean,
    "hemisphere_sd": lambda i: place(i).start.sd,
    "climate_sd": lambda i: found(prior_outline(None, plant(latitude_deg=i["latitude_deg"]))).start.sd,
    "said_sd": said_sd,
}


@pytest.mark.parametrize("row", cases("bloom", *CALLS))
def test_published_value(row: Row) -> None:
    row.check(CALLS[row.quantity](row.inputs))


# --- place ---


def test_climate_outline_is_the_season_of_the_pond_model_and_may_fail_to_flower() -> None:
    outline = found(prior_outline(None, plant()))
    pond = climate_season(GIVERNY, "hardy", 49.0)
    assert outline.basis == "climate"
    assert (outline.start.mean, outline.end.mean) == (pond.first_day_of_year, pond.last_day_of_year)
    assert outline.flowering_chance == constants.FLOWERING_CHANCE_CLIMATE.value


def test_tropical_place_is_all_year() -> None:
    outline = found(prior_outline(None, plant(monthly_mean_c=BANGKOK, latitude_deg=13.75)))
    assert outline.all_year
    assert outline.basis == "climate"


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"water": "glass"}, "ask_under_glass"),
        ({"water": "heated"}, "ask_heated"),
        ({"group": "lotos", "diel": "night"}, "no_outdoor_bloom"),
        ({"monthly_mean_c": None, "latitude_deg": 13.75}, "ask_tropical_site"),
    ],
)
def test_where_nothing_is_known_there_is_no_outline_but_a_reason(
    changes: dict[str, object], reason: str
) -> None:
    assert prior_outline(None, plant(**changes)) is None
    assert no_outline_reason(plant(**changes)) == reason


def test_tropical_groups_by_hemisphere_flower_later_than_hardy_ones() -> None:
    hardy, tropical = (
        found(prior_outline(None, plant(monthly_mean_c=None, group=group))) for group in ("hardy", "lotos")
    )
    assert tropical.start.mean > hardy.start.mean
    assert tropical.basis == hardy.basis == "hemisphere"


# --- similar plants and the grower's word ---


def test_many_similar_plants_leave_the_spread_of_plants_and_years() -> None:
    similar = tuple(season(2020 + year, 160, 80) for year in range(5) for _ in range(40))
    outline = found(prior_outline(None, plant(water="glass", similar=similar)))
    assert outline.basis == "similar plants"
    assert outline.start.sd == pytest.approx(math.hypot(10.0, 7.0), rel=0.01)
    assert outline.years == 0
    assert outline.flowering_chance == 1.0


def test_one_similar_plant_is_shrunk_toward_the_climate() -> None:
    climate = found(prior_outline(None, plant()))
    outline = found(prior_outline(None, plant(similar=(season(2024, 175, 80),))))
    assert climate.start.mean < outline.start.mean < 175.0
    assert math.hypot(10.0, 7.0) < outline.start.sd < climate.start.sd


def test_the_grower_s_word_replaces_similar_plants() -> None:
    said = SaidWindow((6, 15), (9, 15), 12.0)
    outline = found(prior_outline(said, plant(similar=(season(2024, 175, 80),))))
    assert outline == found(prior_outline(said, plant(water="glass")))
    assert (outline.start.mean, outline.end.mean) == (166.0, 258.0)


def test_a_said_season_may_cross_new_year() -> None:
    outline = found(prior_outline(SaidWindow((11, 1), (3, 10), 12.0), plant()))
    assert (outline.start.mean, outline.end.mean) == (305.0, 365.0 + 69.0)


# --- own records ---


def test_no_records_give_the_prior_back() -> None:
    assert recorded_outline([], None) is None
    prior = found(prior_outline(None, plant()))
    assert recorded_outline([], prior) is prior


def test_records_round_new_year_are_neighbours() -> None:
    records = [
        SeasonRecord(date(2022, 12, 27), date(2023, 3, 1)),
        SeasonRecord(date(2024, 1, 4), date(2024, 3, 9)),
    ]
    outline = found(recorded_outline(records, None))
    assert outline.start.mean == pytest.approx(365.0, abs=0.01)
    assert outline.end.mean == pytest.approx(365.0 + 64.5, abs=0.01)


def test_prior_a_year_away_is_turned_to_the_records() -> None:
    prior = SeasonOutline(Normal(362.0, 20.0), Normal(430.0, 20.0), "climate")
    outline = found(recorded_outline([season(2024, 10, 60)], prior))
    assert -3.0 < outline.start.mean < 10.0
    assert 65.0 < outline.end.mean < 70.0


def test_missing_end_takes_the_length_of_the_prior() -> None:
    prior = found(prior_outline(SaidWindow((6, 1), (9, 9), 12.0), plant()))
    outline = found(recorded_outline([season(2024, 140)], prior))
    assert outline.end.mean - outline.start.mean == pytest.approx(100.0)
    assert outline.end.sd == 12.0


def test_missing_end_without_prior_is_wide() -> None:
    outline = found(recorded_outline([season(2025, 140)], None))
    assert outline.end.mean == outline.start.mean + constants.UNKNOWN_SEASON_LENGTH_DAYS.value
    assert outline.end.sd > 40.0


def test_weekly_visits_move_the_first_bloom_back_and_widen_it() -> None:
    daily, weekly = (
        found(recorded_outline([SeasonRecord(date(2025, 6, 9), None, days)], None)) for days in (0, 7)
    )
    assert weekly.start.mean == pytest.approx(daily.start.mean - 3.5)
    assert weekly.start.sd > daily.start.sd


def test_scattered_first_blooms_are_no_season() -> None:
    records = [season(2022, 170, 20), season(2023, 172, 20), season(2024, 35, 20)]
    outline = found(recorded_outline(records, None))
    assert outline.all_year
    assert (outline.basis, outline.years) == ("records", 3)


def test_a_first_bloom_alone_does_not_end_an_all_year_climate() -> None:
    climate = all_year_outline("climate", flowering_chance=0.85)
    outline = found(recorded_outline([season(2025, 40)], climate))
    assert outline.all_year
    assert outline.flowering_chance == 1.0


def test_recorded_ends_give_a_season_even_in_an_all_year_climate() -> None:
    climate = all_year_outline("climate", flowering_chance=0.85)
    outline = found(recorded_outline([season(2024, 40, 100), season(2025, 44, 100)], climate))
    assert not outline.all_year
    assert outline.start.mean == pytest.approx(42.0, abs=0.01)


def test_outline_from_a_day_is_good_for_that_year_only() -> None:
    outline = outline_from_day(date(2026, 6, 10), lag_days=12.0, sd_days=6.0, basis="bud seen")
    assert outline.only_year == 2026
    assert outline.start == Normal(common_day_of_year(date(2026, 6, 22)), 6.0)
