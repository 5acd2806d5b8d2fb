"""Days of the year on the circle, shrinkage of few years, this season's weather, truncated days."""

import math
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from exchange.science.season_statistic import (
    TROPICAL_YEAR_DAYS,
    Normal,
    StudentT,
    circular_summary,
    combine_correlated,
    common_date,
    common_day_of_year,
    common_ordinal,
    degree_day_start,
    has_season,
    in_season,
    interval_sd_days,
    nearest_turn,
    prior_of_mean,
    season_length_days,
    shrink,
    southern_day_of_year,
    truncated_normal_quantile,
    unknown_spread_forecast,
    weather_shifted_start,
)
from tests.published import Row, cases

DAYS = st.lists(st.floats(1.0, 365.0), min_size=1, max_size=12)


def shrunk(inputs: dict[str, Any]) -> Normal:
    prior = Normal(inputs["prior_mean"], inputs["prior_sd"])
    return shrink(prior, inputs["years"], year_sd=inputs["year_sd"])


def student(inputs: dict[str, Any]) -> StudentT:
    names = ("prior_mean", "prior_years", "prior_sd", "prior_freedom")
    return unknown_spread_forecast(inputs["years"], **{name: inputs[name] for name in names})


def combined(inputs: dict[str, Any]) -> Normal:
    return combine_correlated(Normal(*inputs["first"]), Normal(*inputs["second"]), inputs["correlation"])


def weather_shift(inputs: dict[str, Any]) -> float:
    history = Normal(*inputs["history"])
    return weather_shifted_start(history, Normal(*inputs["weather"])).mean - history.mean


CALLS: dict[str, Callable[[dict[str, Any]], float]] = {
    "circular_mean": lambda i: circular_summary(i["days"]).mean_day,
    "circular_sd": lambda i: circular_summary(i["days"]).sd_days,
    "circular_resultant": lambda i: circular_summary(i["days"]).resultant,
    "season_length": lambda i: season_length_days(i["first"], i["last"]),
    "in_season": lambda i: float(in_season(i["day"], i["first"], i["last"])),
    "southern_day": lambda i: southern_day_of_year(i["day"]),
    "shrink_mean": lambda i: shrunk(i).mean,
    "shrink_sd": lambda i: shrunk(i).sd,
    "interval_sd": lambda i: interval_sd_days(i["interval_days"]),
    "student_freedom": lambda i: student(i).degrees_of_freedom,
    "student_location": lambda i: student(i).location,
    "student_scale": lambda i: student(i).scale,
    "student_quantile": lambda i: student(i).quantile(i["probability"]),
    "degree_day_start_mean": lambda i: degree_day_start(**i).mean,
    "degree_day_start_sd": lambda i: degree_day_start(**i).sd,
    "combined_mean": lambda i: combined(i).mean,
    "combined_sd": lambda i: combined(i).sd,
    "weather_shift": weather_shift,
}


@pytest.mark.parametrize("row", cases("bloom", *CALLS))
def test_published_value(row: Row) -> None:
    row.check(CALLS[row.quantity](row.inputs))


# --- the circle ---


@settings(deadline=None)
@given(DAYS)
def test_circular_summary_agrees_with_scipy(days: list[float]) -> None:
    year = TROPICAL_YEAR_DAYS.value
    ours = circular_summary(days)
    if ours.resultant < 1e-6:
        return
    mean = stats.circmean(np.array(days) - 1.0, high=year) + 1.0
    assert math.cos(2.0 * math.pi * (ours.mean_day - mean) / year) == pytest.approx(1.0, abs=1e-12)
    if ours.resultant < 1.0 - 1e-9:
        spread = stats.circstd(np.array(days) - 1.0, high=year)
        assert ours.sd_days == pytest.approx(spread, rel=1e-6, abs=1e-4)


def test_naive_mean_of_days_round_new_year_is_in_the_wrong_season() -> None:
    days = [350, 5, 20]
    assert np.mean(days) == 125.0
    assert not in_season(125.0, 350, 20)
    assert in_season(circular_summary(days).mean_day, 350, 20)


def test_spread_first_blooms_have_no_season() -> None:
    assert not has_season([170, 172, 35])
    assert has_season([350, 5, 20])


def test_days_that_cancel_out_have_infinite_spread_or_no_season() -> None:
    assert not has_season([1.0, 1.0 + TROPICAL_YEAR_DAYS.value / 2.0])


@pytest.mark.parametrize("days", [[0.0], [367.0], [math.nan], []])
def test_circular_summary_refuses_days_off_the_calendar(days: list[float]) -> None:
    with pytest.raises(ValueError, match="allowed"):
        circular_summary(days)


# --- the common year ---


@settings(deadline=None)
@given(st.dates(date(1900, 1, 1), date(2200, 12, 31)))
def test_common_ordinal_and_date_are_inverse_but_for_leap_day(day: date) -> None:
    back = common_date(common_ordinal(day))
    leap_day = (day.month, day.day) == (2, 29)
    assert back == (day - timedelta(days=1) if leap_day else day)


def test_same_month_and_day_have_one_day_of_year_in_leap_years_too() -> None:
    assert common_day_of_year(date(2024, 6, 1)) == common_day_of_year(date(2025, 6, 1)) == 152
    assert common_day_of_year(date(2024, 12, 31)) == 365


@settings(deadline=None)
@given(st.floats(-2000.0, 2000.0), st.floats(-500.0, 500.0))
def test_nearest_turn_moves_whole_years_to_within_half_a_year(day: float, centre: float) -> None:
    turned = nearest_turn(day, centre)
    assert abs(turned - centre) <= 182.5 + 1e-6
    assert (turned - day) / 365.0 == pytest.approx(round((turned - day) / 365.0), abs=1e-6)


# --- shrinkage ---


def test_shrink_agrees_with_the_posterior_integrated_on_a_grid() -> None:
    days, reading, year_sd = np.array([146.0, 154.0]), np.array([0.0, 2.0]), 7.0
    grid = np.linspace(80.0, 240.0, 40_001)
    density = stats.norm.pdf(grid, 160.0, 10.0)
    for day, sd in zip(days, reading, strict=True):
        density = density * stats.norm.pdf(day, grid, math.hypot(year_sd, sd))
    density /= density.sum()
    mean = float((grid * density).sum())
    variance = float(((grid - mean) ** 2 * density).sum()) + year_sd**2
    ours = shrink(Normal(160.0, 10.0), list(days), year_sd=year_sd, observation_sd=reading)
    assert ours.mean == pytest.approx(mean, abs=1e-6)
    assert ours.sd == pytest.approx(math.sqrt(variance), abs=1e-6)


def test_shrink_without_prior_is_the_mean_of_the_years() -> None:
    ours = shrink(None, [150.0, 160.0], year_sd=7.0)
    assert ours.mean == pytest.approx(155.0)
    assert ours.sd == pytest.approx(math.sqrt(49.0 / 2.0 + 49.0))


def test_shrink_needs_a_prior_or_a_year() -> None:
    with pytest.raises(ValueError, match="at least one year"):
        shrink(None, [], year_sd=7.0)


@settings(deadline=None)
@given(st.lists(st.floats(100.0, 200.0), min_size=1, max_size=6), st.floats(100.0, 200.0))
def test_one_more_year_never_widens_the_forecast(years: list[float], another: float) -> None:
    prior = Normal(160.0, 10.0)
    fewer, more = (shrink(prior, days, year_sd=7.0) for days in (years, [*years, another]))
    assert 7.0 < more.sd < fewer.sd


def test_coarse_readings_count_for_less() -> None:
    exact = shrink(Normal(160.0, 10.0), [146.0], year_sd=7.0)
    coarse = shrink(Normal(160.0, 10.0), [146.0], year_sd=7.0, observation_sd=interval_sd_days(30.0))
    assert exact.mean < coarse.mean < 160.0
    assert exact.sd < coarse.sd


def test_prior_of_mean_gives_back_the_forecast_it_came_from() -> None:
    prior = prior_of_mean(Normal(160.0, 12.0), year_sd=7.0)
    assert shrink(prior, [], year_sd=7.0).sd == pytest.approx(12.0)


def test_prior_of_mean_is_never_certain() -> None:
    assert prior_of_mean(Normal(160.0, 7.0), year_sd=7.0).sd == 3.5


def test_unknown_spread_is_wider_than_a_known_one() -> None:
    ours = unknown_spread_forecast([], prior_mean=160.0, prior_years=0.5, prior_sd=8.0, prior_freedom=4.0)
    assert ours.location == 160.0
    assert ours.quantile(0.9) == pytest.approx(stats.t(4, 160.0, 8.0 * math.sqrt(3.0)).ppf(0.9))
    assert ours.quantile(0.9) > 160.0 + 8.0 * stats.norm.ppf(0.9)


# --- this season ---


def test_correlated_errors_leave_less_to_gain() -> None:
    history, weather = Normal(151.968, 8.287), Normal(155.0, 6.0)
    alone = combine_correlated(weather, history, 0.0)
    assert alone.sd < combine_correlated(weather, history, 0.5).sd < weather.sd


def test_a_much_worse_forecast_gets_no_negative_weight() -> None:
    good, poor = Normal(150.0, 2.0), Normal(190.0, 20.0)
    assert combine_correlated(good, poor, 0.9) == good


def test_weather_within_the_cap_is_used_in_full() -> None:
    history, weather = Normal(151.968, 8.287), Normal(155.0, 6.0)
    assert weather_shifted_start(history, weather).mean == combine_correlated(history, weather, 0.5).mean


@pytest.mark.parametrize("gain", [0.0, -1.0, math.nan])
def test_degree_days_that_do_not_grow_are_refused(gain: float) -> None:
    with pytest.raises(ValueError, match="gain_per_day"):
        degree_day_start(130.0, required=400.0, required_sd=40.0, so_far=210.0, gain_per_day=gain)


# --- truncated days ---

CHANCES = np.array([0.001, 0.1, 0.5, 0.9, 0.999])


@pytest.mark.parametrize(
    ("low", "high"),
    [(-math.inf, math.inf), (-1.0, math.inf), (2.5, math.inf), (-math.inf, -2.0), (-0.5, 1.5), (3.0, 3.5)],
)
def test_truncated_quantile_agrees_with_scipy(low: float, high: float) -> None:
    ours = truncated_normal_quantile(CHANCES, Normal(10.0, 4.0), low=10.0 + 4.0 * low, high=10.0 + 4.0 * high)
    assert ours == pytest.approx(stats.truncnorm.ppf(CHANCES, low, high, loc=10.0, scale=4.0), rel=1e-9)


@settings(deadline=None)
@given(st.floats(-60.0, 60.0), st.floats(0.0, 60.0))
def test_truncated_quantile_stays_within_far_bounds(low: float, width: float) -> None:
    days = truncated_normal_quantile(CHANCES, Normal(0.0, 1.0), low=low, high=low + width)
    assert np.isfinite(days).all()
    assert ((days >= low) & (days <= low + width)).all()
    assert (np.diff(days) >= 0.0).all()


def test_bound_twelve_sd_away_is_not_lost_in_rounding() -> None:
    """Mills' ratio: beyond 12 sd the median excess is about ln 2 / 12 sd."""
    excess = truncated_normal_quantile(0.5, Normal(0.0, 1.0), low=12.0)[0] - 12.0
    assert excess == pytest.approx(math.log(2.0) / 12.0, rel=0.02)


def test_fixed_day_is_moved_to_the_bound() -> None:
    assert truncated_normal_quantile(CHANCES, Normal(5.0, 0.0), low=7.0) == pytest.approx([7.0] * 5)


def test_crossed_bounds_are_refused() -> None:
    with pytest.raises(ValueError, match="low is 2, above high 1"):
        truncated_normal_quantile(0.5, Normal(0.0, 1.0), low=2.0, high=1.0)
