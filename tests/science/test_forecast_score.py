"""Scores of forecasts against the day that came."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from exchange.science.forecast_score import (
    brier_score,
    central_interval,
    crps_ensemble,
    crps_normal,
    expected_crps,
    interval_coverage,
    interval_score,
    log_score,
    probability_integral_transform,
)
from exchange.science.season_statistic import Normal
from tests.published import Row, cases


def normal(inputs: dict[str, Any]) -> Normal:
    return Normal(inputs["mean"], inputs["sd"])


CALLS: dict[str, Callable[[dict[str, Any]], float]] = {
    "expected_crps": lambda i: expected_crps(i["sd"]),
    "crps_normal": lambda i: crps_normal(normal(i), i["outcome"]),
    "crps_ensemble": lambda i: crps_ensemble(i["members"], i["outcome"]),
    "crps_ensemble_fair": lambda i: crps_ensemble(i["members"], i["outcome"], fair=True),
    "brier": lambda i: brier_score(i["chances"], i["outcomes"]),
    "interval_low": lambda i: central_interval(normal(i), i["share"])[0],
    "interval_high": lambda i: central_interval(normal(i), i["share"])[1],
    "interval_score": lambda i: interval_score(i["low"], i["high"], i["outcome"], missed=i["missed"]),
    "log_score": lambda i: log_score(normal(i), i["outcome"]),
}


@pytest.mark.parametrize("row", cases("bloom", *CALLS))
def test_published_value(row: Row) -> None:
    row.check(CALLS[row.quantity](row.inputs))


@pytest.mark.parametrize("outcome", [130.0, 150.0, 157.0, 181.5])
def test_crps_of_a_normal_is_its_defining_integral(outcome: float) -> None:
    forecast = stats.norm(150.0, 8.0)
    before, _ = integrate.quad(lambda day: forecast.cdf(day) ** 2, 50.0, outcome)
    after, _ = integrate.quad(lambda day: forecast.sf(day) ** 2, outcome, 250.0)
    assert crps_normal(Normal(150.0, 8.0), outcome) == pytest.approx(before + after, abs=1e-6)


def test_expected_crps_is_the_mean_over_calibrated_outcomes() -> None:
    outcomes = stats.norm(150.0, 8.0).ppf((np.arange(4000) + 0.5) / 4000)
    mean = np.mean([crps_normal(Normal(150.0, 8.0), day) for day in outcomes])
    assert mean == pytest.approx(expected_crps(8.0), abs=0.005)


def test_ensemble_score_approaches_that_of_the_normal_it_was_drawn_from() -> None:
    members = stats.norm(150.0, 8.0).ppf((np.arange(1000) + 0.5) / 1000)
    assert crps_ensemble(members, 157.0) == pytest.approx(crps_normal(Normal(150.0, 8.0), 157.0), abs=0.01)


@settings(deadline=None)
@given(st.floats(100.0, 200.0), st.floats(0.5, 30.0), st.floats(50.0, 250.0))
def test_log_score_agrees_with_scipy(mean: float, sd: float, outcome: float) -> None:
    assert log_score(Normal(mean, sd), outcome) == pytest.approx(
        -stats.norm(mean, sd).logpdf(outcome), rel=1e-9
    )


def test_honest_forecast_scores_better_than_a_too_sure_one() -> None:
    assert crps_normal(Normal(150.0, 8.0), 157.0) < crps_normal(Normal(150.0, 4.0), 157.0)


def test_interval_score_inside_is_the_width_alone() -> None:
    assert interval_score(140.0, 160.0, 150.0, missed=0.2) == 20.0


@pytest.mark.parametrize("outcome", [130.0, 170.0])
def test_interval_score_punishes_both_sides_alike(outcome: float) -> None:
    assert interval_score(140.0, 160.0, outcome, missed=0.2) == pytest.approx(20.0 + 10.0 * 10.0)


def test_calibration_is_not_reported_from_nineteen_forecasts() -> None:
    assert interval_coverage([Normal(150.0, 8.0)] * 19, [150.0] * 19, 0.8) is None


def test_coverage_counts_outcomes_inside_the_interval() -> None:
    outcomes = [150.0] * 15 + [139.0] * 3 + [161.0] * 2
    assert interval_coverage([Normal(150.0, 8.0)] * 20, outcomes, 0.8) == 0.75


def test_integral_transform_of_calibrated_outcomes_is_flat() -> None:
    outcomes = stats.norm(150.0, 8.0).ppf((np.arange(100) + 0.5) / 100)
    position = probability_integral_transform([Normal(150.0, 8.0)] * 100, outcomes)
    assert np.histogram(position, bins=10, range=(0.0, 1.0))[0] == pytest.approx([10] * 10)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: crps_normal(Normal(150.0, 0.0), 1.0), "sd is 0; allowed: above 0."),
        (lambda: log_score(Normal(150.0, math.nan), 1.0), "sd is nan"),
        (lambda: crps_ensemble([150.0], 1.0, fair=True), "number of members is 1"),
        (lambda: brier_score([1.2], [1]), "chance is 1.2; allowed: 0 to 1."),
        (lambda: brier_score([0.2], [1, 0]), "outcomes has 2 values; allowed: 1"),
        (lambda: interval_score(2.0, 1.0, 1.0, missed=0.2), "low is 2, above high 1"),
        (lambda: interval_coverage([Normal(1.0, 1.0)], [1.0], 1.5), "share is 1.5"),
    ],
)
def test_bad_input_is_refused_by_name(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
