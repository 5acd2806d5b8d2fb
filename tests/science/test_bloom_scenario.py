"""Scenarios of bloom: what is known bounds them, whole days belong to them, dates come from them."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from exchange.science import constants
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_scenario import (
    BloomScenarios,
    bloom_scenarios,
    daily_rate,
    window_interval,
)
from exchange.science.flower import uncertain_window_and_rate_probability, uncertain_window_probability
from exchange.science.season_statistic import Normal

ORIGIN = date(2026, 6, 1)
WINDOW = BloomWindow(ORIGIN, 0.0, 8.0, 90.0, 10.0, 2.0, 8.0, 1, 1.0, "records", 2)
ALL_YEAR = replace(WINDOW, start_sd=0.0, end_mean=365.0, end_sd=0.0, all_year=True, basis="said")


def seasons(start: list[float], end: list[float]) -> BloomScenarios:
    count = len(start)
    return BloomScenarios(
        ORIGIN, np.array(start), np.array(end), np.ones(count), np.ones(count, dtype=np.bool_)
    )


def test_a_day_is_inside_from_the_first_whole_day_to_the_last() -> None:
    rate = daily_rate(seasons([1.0, 0.3], [3.0, 2.7]), ORIGIN, 5)
    assert rate.tolist() == [[0.0, 1.0, 1.0, 1.0, 0.0], [0.0, 1.0, 1.0, 0.0, 0.0]]


def test_days_are_counted_from_the_origin_whatever_day_is_asked_first() -> None:
    drawn = bloom_scenarios(WINDOW, seed=1)
    whole = daily_rate(drawn, ORIGIN - timedelta(days=10), 140)
    part = daily_rate(drawn, ORIGIN + timedelta(days=20), 30)
    assert (whole[:, 30:60] == part).all()


def test_same_seed_same_seasons_other_seed_other_seasons() -> None:
    first, again, other = (bloom_scenarios(WINDOW, seed=seed) for seed in (5, 5, 6))
    assert (first.start_day == again.start_day).all()
    assert (first.start_day != other.start_day).any()


def test_default_count_is_the_model_version_s() -> None:
    assert bloom_scenarios(WINDOW, seed=1).rate_per_day.shape == (int(constants.SCENARIO_COUNT.value),)


@pytest.mark.parametrize("seed", range(8))
def test_production_scenarios_meet_the_exact_double_sum_with_a_fixed_rate(seed: int) -> None:
    """Whatever seed a plant has, 128 scenarios are within 0.005 of the exact sum."""
    fixed = BloomWindow(ORIGIN, 150.0, 8.0, 240.0, 10.0, 1e9, 4e9, 1, 1.0, "records", 2)
    exact = uncertain_window_probability(Normal(150.0, 8.0), Normal(240.0, 10.0), 140, 146, rate_per_day=0.25)
    rate = daily_rate(bloom_scenarios(fixed, seed=seed), ORIGIN + timedelta(days=140), 7)
    assert rate[rate > 0.0] == pytest.approx(0.25, rel=1e-3)
    assert float(np.mean(-np.expm1(-rate.sum(axis=1)))) == pytest.approx(exact, abs=0.005)


@pytest.mark.parametrize("seed", range(8))
def test_production_scenarios_meet_the_exact_double_sum_with_a_drawn_rate(seed: int) -> None:
    drawn = BloomWindow(ORIGIN, 150.0, 8.0, 240.0, 10.0, 2.0, 8.0, 1, 1.0, "records", 2)
    exact = uncertain_window_and_rate_probability(
        Normal(150.0, 8.0), Normal(240.0, 10.0), 150, 156, rate_shape=2.0, rate_exposure_days=8.0
    )
    rate = daily_rate(bloom_scenarios(drawn, seed=seed), ORIGIN + timedelta(days=150), 7)
    assert float(np.mean(-np.expm1(-rate.sum(axis=1)))) == pytest.approx(exact, abs=0.005)


def test_crowns_multiply_the_rate() -> None:
    one, four = (bloom_scenarios(replace(WINDOW, crowns=crowns), seed=3) for crowns in (1, 4))
    assert four.rate_per_day == pytest.approx(4.0 * one.rate_per_day)


def test_rates_follow_the_gamma() -> None:
    rates = bloom_scenarios(WINDOW, seed=3, count=4096).rate_per_day
    expected = stats.gamma(2.0, scale=1.0 / 8.0).ppf([0.1, 0.5, 0.9])
    assert np.quantile(rates, [0.1, 0.5, 0.9]) == pytest.approx(expected, rel=0.01)


def test_chance_of_flowering_at_all_empties_its_share_of_seasons() -> None:
    drawn = bloom_scenarios(replace(WINDOW, flowering_chance=0.7, basis="climate"), seed=3)
    assert drawn.flowers.mean() == pytest.approx(0.7, abs=0.01)
    assert not daily_rate(drawn, ORIGIN, 90)[~drawn.flowers].any()


def test_end_before_start_is_no_bloom() -> None:
    late = replace(WINDOW, start_mean=85.0, start_sd=20.0)
    drawn = bloom_scenarios(late, seed=3, count=1024)
    reversed_seasons = drawn.end_day <= drawn.start_day
    assert 0.3 < reversed_seasons.mean() < 0.5
    assert not drawn.flowers[reversed_seasons].any()
    assert drawn.flowers[~reversed_seasons].all()


def test_no_scenario_starts_by_the_day_without_flowers() -> None:
    drawn = bloom_scenarios(replace(WINDOW, start_after=4.0), seed=3)
    assert (drawn.start_day > 4.0).all()
    assert not daily_rate(drawn, ORIGIN, 5).any()


def test_every_scenario_flowers_on_the_day_a_flower_was_seen() -> None:
    drawn = bloom_scenarios(replace(WINDOW, end_after=3.0), seed=3)
    assert daily_rate(drawn, ORIGIN + timedelta(days=3), 1).all()


def test_truncated_starts_follow_the_truncated_normal() -> None:
    starts = bloom_scenarios(replace(WINDOW, start_after=4.0), seed=3, count=4096).start_day
    expected = stats.truncnorm(0.5, math.inf, loc=0.0, scale=8.0).ppf([0.1, 0.5, 0.9])
    assert np.quantile(starts, [0.1, 0.5, 0.9]) == pytest.approx(expected, abs=0.05)


@settings(deadline=None)
@given(st.floats(-400.0, 400.0), st.floats(0.0, 300.0), st.integers(0, 2**40))
def test_bounds_hold_however_unlikely_they_are(after: float, later: float, seed: int) -> None:
    window = replace(WINDOW, start_after=after, end_after=after + 1.0 + later)
    drawn = bloom_scenarios(window, seed=seed, count=16)
    assert (drawn.start_day > after).all()
    assert (drawn.start_day <= after + 1.0 + later).all()
    assert (drawn.end_day >= after + 1.0 + later).all()


# --- all year ---


def test_all_year_has_flowers_on_every_day_and_no_dates() -> None:
    assert daily_rate(bloom_scenarios(ALL_YEAR, seed=3), date(2031, 1, 1), 365).all()
    assert window_interval(ALL_YEAR) is None


def test_weak_months_have_a_reduced_rate() -> None:
    drawn = bloom_scenarios(replace(ALL_YEAR, weak_months=frozenset({12, 1})), seed=3)
    rate = daily_rate(drawn, date(2026, 11, 30), 64)
    weak = constants.WEAK_MONTH_FACTOR.value
    assert rate[:, 1:63] == pytest.approx(np.repeat(weak * drawn.rate_per_day[:, None], 62, axis=1))
    assert (rate[:, [0, 63]] == drawn.rate_per_day[:, None]).all()


# --- dates ---


def test_interval_dates_are_the_whole_days_inside_the_quantiles() -> None:
    interval = window_interval(WINDOW)
    assert interval is not None
    # S: -10.25, 0, 10.25 d; E: 77.18, 90, 102.82 d after 1 June.
    assert (interval.start_10, interval.start_50, interval.start_90) == (
        date(2026, 5, 22),
        date(2026, 6, 1),
        date(2026, 6, 12),
    )
    assert (interval.end_10, interval.end_50, interval.end_90) == (
        date(2026, 8, 17),
        date(2026, 8, 30),
        date(2026, 9, 11),
    )


def test_interval_dates_respect_what_was_seen() -> None:
    interval = window_interval(replace(WINDOW, start_after=4.0))
    assert interval is not None
    assert interval.start_10 > date(2026, 6, 5)


def test_interval_shares_agree_with_the_scenarios() -> None:
    drawn = bloom_scenarios(WINDOW, seed=3, count=4096)
    interval = window_interval(WINDOW)
    assert interval is not None
    begun = daily_rate(drawn, interval.start_90, 1) > 0.0
    assert begun.mean() == pytest.approx(0.9, abs=0.02)


@pytest.mark.parametrize("count", [0, 3, 100, 131_072])
def test_counts_that_are_no_power_of_two_are_refused(count: int) -> None:
    with pytest.raises(ValueError, match="count is"):
        bloom_scenarios(WINDOW, seed=1, count=count)


def test_negative_seed_and_empty_span_are_refused() -> None:
    with pytest.raises(ValueError, match="seed is -1"):
        bloom_scenarios(WINDOW, seed=-1)
    with pytest.raises(ValueError, match="days is 0; allowed: 1 to 3000"):
        daily_rate(bloom_scenarios(WINDOW, seed=1), ORIGIN, 0)
