"""Season from climate: published windows, southern and tropical years, every group."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.science import pond
from exchange.science.arrays import FloatArray
from exchange.science.climate import climate_of, daily_air_temperature
from exchange.science.climate_season import (
    HARDY_RULE,
    LOTUS_RULE,
    TROPICAL_RULE,
    climate_season,
    rule_of,
    season_of_water,
    water_window,
)
from exchange.science.group import GROUPS
from tests.published import Row, cases

DAYS = np.arange(365.0)
WARM_DAY_QUANTITIES = ("first_warm_day", "last_warm_day", "first_warm_day_of_cell", "last_warm_day_of_cell")


def neusiedl_water(monthly_mean_c: FloatArray) -> FloatArray:
    lake = pond.NEUSIEDL
    air_c = daily_air_temperature(monthly_mean_c)
    return pond.pond_temperature(air_c, lake.response_days, intercept_c=lake.intercept_c, slope=lake.slope)


def water_of(inputs: dict[str, Any]) -> FloatArray:
    if "monthly_mean_c" in inputs:
        return neusiedl_water(np.array(inputs["monthly_mean_c"]))
    return neusiedl_water(climate_of(inputs["latitude_deg"], inputs["longitude_deg"]).monthly_mean_c)


def wave_c(mean_c: float, amplitude_c: float, warmest_day: float) -> FloatArray:
    """A year of water with its peak on a day of year."""
    phase = 2.0 * np.pi * (DAYS + 1.0 - warmest_day) / 365.0
    return np.maximum(mean_c + amplitude_c * np.cos(phase), 0.0)


@pytest.mark.parametrize("row", cases("climate", *WARM_DAY_QUANTITIES))
def test_published_warm_windows(row: Row) -> None:
    window = water_window(water_of(row.inputs), row.inputs["threshold_c"])
    assert window is not None
    row.check(window[0] if row.quantity.startswith("first") else window[1])


@pytest.mark.parametrize("row", cases("climate", "warm_days"))
def test_published_places_that_are_never_or_always_warm(row: Row) -> None:
    row.check(float(np.count_nonzero(water_of(row.inputs) >= row.inputs["threshold_c"])))


@pytest.mark.parametrize("row", cases("climate", "season_first", "season_last"))
def test_published_climate_prior(row: Row) -> None:
    inputs = row.inputs
    season = climate_season(
        np.array(inputs["monthly_mean_c"]),
        inputs["group"],
        inputs["latitude_deg"],
        response_days=inputs["response_days"],
    )
    assert season.kind == "season"
    row.check(season.first_day_of_year if row.quantity == "season_first" else season.last_day_of_year)


@pytest.mark.parametrize("group", GROUPS)
def test_every_group_has_the_rule_of_its_kind(group: str) -> None:
    expected = {"hardy": HARDY_RULE, "nelumbo": LOTUS_RULE}.get(group, TROPICAL_RULE)
    assert rule_of(group) is expected
    season = climate_season(climate_of(40.71, -74.0).monthly_mean_c, group, 40.71)
    assert season.kind == "season"
    assert 1.0 <= season.first_day_of_year <= 365.0


def test_a_southern_season_wraps_new_year() -> None:
    season = climate_season(climate_of(-33.87, 151.21).monthly_mean_c, "hardy", -33.87)
    assert season.kind == "season"
    assert season.last_day_of_year < season.first_day_of_year
    assert 230.0 < season.first_day_of_year < 280.0
    assert 130.0 < season.last_day_of_year < 190.0


@pytest.mark.parametrize("group", ["hardy", "brachyceras", "lotos", "nelumbo"])
def test_a_hot_place_near_the_equator_has_bloom_all_year(group: str) -> None:
    season = climate_season(climate_of(13.75, 100.52).monthly_mean_c, group, 13.75)
    assert (season.kind, season.first_day_of_year, season.last_day_of_year) == ("all year", 1.0, 365.0)


def test_a_cool_place_has_no_outdoor_bloom_of_tropicals() -> None:
    season = climate_season(climate_of(51.75, 5.75).monthly_mean_c, "brachyceras", 51.75)
    assert season.kind == "none"
    assert math.isnan(season.first_day_of_year)
    assert math.isnan(season.last_day_of_year)


def test_tropicals_start_two_weeks_after_the_water_is_warm_enough() -> None:
    water_c = wave_c(18.0, 8.0, 200.0)
    start, end = water_window(water_c, 21.0), water_window(water_c, 20.0)
    season = season_of_water(water_c, TROPICAL_RULE, 40.0)
    assert start is not None
    assert end is not None
    assert (season.first_day_of_year, season.last_day_of_year) == (start[0] + 14.0, float(end[1]))


def test_a_season_too_short_for_the_first_flower_is_none() -> None:
    water_c = np.full(365, 10.0)
    water_c[200:210] = 22.0
    assert season_of_water(water_c, TROPICAL_RULE, 40.0).kind == "none"


def test_short_days_end_lotus_before_cold_water_does() -> None:
    water_c = wave_c(20.0, 9.0, 210.0)
    by_water = water_window(water_c, 20.0)
    season = season_of_water(water_c, LOTUS_RULE, 35.0)
    assert by_water is not None
    assert season.last_day_of_year < by_water[1]
    assert 225.0 < season.last_day_of_year < 265.0


def test_water_that_never_falls_to_the_end_threshold_ends_the_season_at_its_coldest() -> None:
    water_c = wave_c(19.0, 3.5, 200.0)
    coldest = int(water_c.argmin()) + 1
    season = season_of_water(water_c, HARDY_RULE, 35.0)
    assert season.kind == "season"
    assert season.last_day_of_year == (coldest - 2) % 365 + 1
    assert (
        season.first_day_of_year
        == (coldest + int(np.argmax(np.roll(water_c, 1 - coldest) >= 16.0)) - 1) % 365 + 1
    )


def test_one_warm_day_is_noise() -> None:
    water_c = np.full(365, 10.0)
    water_c[60] = 20.0
    water_c[150:157] = 20.0
    assert water_window(water_c, 16.0) == (151, 157)
    assert water_window(water_c, 16.0, run_days=1) == (61, 157)
    water_c[150] = 10.0
    assert water_window(water_c, 16.0) is None


@settings(max_examples=40, deadline=None)
@given(
    mean_c=st.floats(0.0, 26.0),
    amplitude_c=st.floats(1.0, 12.0),
    warmer_c=st.floats(0.0, 4.0),
    threshold_c=st.floats(10.0, 25.0),
)
def test_a_warmer_year_never_has_a_shorter_warm_window(
    mean_c: float, amplitude_c: float, warmer_c: float, threshold_c: float
) -> None:
    lengths = [
        0 if window is None else (window[1] - window[0]) % 365 + 1
        for window in (
            water_window(wave_c(mean_c, amplitude_c, 200.0) + shift_c, threshold_c)
            for shift_c in (0.0, warmer_c)
        )
    ]
    assert lengths[0] <= lengths[1]


@settings(max_examples=40, deadline=None)
@given(shift_days=st.integers(0, 364), mean_c=st.floats(8.0, 24.0), amplitude_c=st.floats(4.0, 12.0))
def test_a_season_moves_with_the_year_across_new_year(
    shift_days: int, mean_c: float, amplitude_c: float
) -> None:
    water_c = wave_c(mean_c, amplitude_c, 200.25)
    here = season_of_water(water_c, HARDY_RULE, 45.0)
    there = season_of_water(np.roll(water_c, shift_days), HARDY_RULE, 45.0)
    assert here.kind == there.kind
    if here.kind == "season":
        assert there.first_day_of_year == (here.first_day_of_year - 1 + shift_days) % 365 + 1
        assert there.last_day_of_year == (here.last_day_of_year - 1 + shift_days) % 365 + 1


def test_slower_water_starts_and_ends_later() -> None:
    monthly_c = climate_of(49.077, 1.53).monthly_mean_c
    tub, large = (climate_season(monthly_c, "hardy", 49.077, response_days=days) for days in (2.0, 6.0))
    assert tub.first_day_of_year < large.first_day_of_year
    assert tub.last_day_of_year < large.last_day_of_year


def test_bad_input_is_refused_with_a_sentence() -> None:
    monthly_c = np.full(12, 15.0)
    with pytest.raises(ValueError, match=r"^group is 'roses'; allowed: hardy, "):
        climate_season(monthly_c, "roses", 0.0)
    with pytest.raises(ValueError, match=r"^latitude_deg is 95; allowed: -90 to 90.$"):
        climate_season(monthly_c, "hardy", 95.0)
    with pytest.raises(ValueError, match=r"^response_days is 0; allowed: above 0.$"):
        climate_season(monthly_c, "hardy", 0.0, response_days=0.0)
    with pytest.raises(ValueError, match=r"^water_c has shape \(12,\); allowed: \(365,\).$"):
        water_window(monthly_c, 16.0)
    with pytest.raises(ValueError, match=r"^run_days is 0; allowed: 1 to 365.$"):
        water_window(np.zeros(365), 16.0, run_days=0)
