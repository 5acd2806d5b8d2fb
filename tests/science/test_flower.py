"""Flowers day by day: closed forms against published values, simulation and their own limits."""

import math
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_scenario import bloom_scenarios, daily_rate
from exchange.science.constants import GammaPrior
from exchange.science.flower import (
    days_for_probability,
    evenly_flowering_probability,
    expected_window_days,
    flowers_probability,
    inside_probability,
    no_pollen_probability,
    open_flower_probability,
    pollen_probability,
    rate_prior,
    receptive_probability,
    shedding_rate,
    thinned_probability,
    uncertain_rate_probability,
    uncertain_window_and_rate_probability,
    uncertain_window_probability,
    updated_rate,
)
from exchange.science.season_statistic import Normal
from tests.published import Row, cases

START, END = Normal(150.0, 8.0), Normal(240.0, 10.0)
RATES = st.floats(0.0, 5.0)
DAYS = st.floats(0.0, 60.0)


def season(inputs: dict[str, Any]) -> FloatArray:
    """Rates of a window and ten days after it."""
    days = inputs["window_days"]
    return np.concatenate((np.full(days, inputs["rate_per_day"]), np.zeros(10)))


def window_of(inputs: dict[str, Any]) -> tuple[Normal, Normal, int, int]:
    return Normal(*inputs["start"]), Normal(*inputs["end"]), inputs["first_day"], inputs["last_day"]


def both_unknown(inputs: dict[str, Any]) -> float:
    rate = {name: inputs[name] for name in ("rate_shape", "rate_exposure_days")}
    return uncertain_window_and_rate_probability(*window_of(inputs), **rate)


def by_scenarios(inputs: dict[str, Any]) -> float:
    """The engine's way: the mean over 128 drawn seasons."""
    start, end, first_day, last_day = window_of(inputs)
    origin = date(2026, 1, 1)
    shape, exposure = inputs["rate_shape"], inputs["rate_exposure_days"]
    window = BloomWindow(
        origin, start.mean, start.sd, end.mean, end.sd, shape, exposure, 1, 1.0, "records", 3
    )
    scenarios = bloom_scenarios(window, seed=20261124)
    assert scenarios.start_day.shape == (128,)
    rate = daily_rate(scenarios, origin + timedelta(days=first_day), last_day - first_day + 1)
    return float(np.mean(-np.expm1(-rate.sum(axis=1))))


def updated(inputs: dict[str, Any]) -> tuple[float, float]:
    prior = GammaPrior(inputs["prior_shape"], inputs["prior_exposure_days"], "", "judgement")
    return updated_rate(prior, flowers=inputs["flowers"], crown_days=inputs["crown_days"])


def meeting(inputs: dict[str, Any]) -> float:
    donor = pollen_probability(np.full(20, inputs["donor_rate"]), pollen_days=inputs["pollen_days"])[10]
    return float(donor) * flowers_probability(inputs["recipient_rate"], inputs["days"])


def uncertain_window(inputs: dict[str, Any]) -> float:
    return uncertain_window_probability(*window_of(inputs), rate_per_day=inputs["rate_per_day"])


def thinned(inputs: dict[str, Any]) -> float:
    rates = np.full(inputs["days"], inputs["rate_per_day"])
    return thinned_probability(rates, 1.0, success=inputs["success"])


CALLS: dict[str, Callable[[dict[str, Any]], float]] = {
    "receptive": lambda i: receptive_probability(np.array([i["rate_per_day"]]))[0],
    "flowers": lambda i: flowers_probability(i["rate_per_day"], i["days"], least=i["least"]),
    "evenly_flowering": lambda i: evenly_flowering_probability(i["rate_per_day"], i["days"]),
    "days_for": lambda i: days_for_probability(i["rate_per_day"], i["probability"]),
    "pollen": lambda i: pollen_probability(season(i), pollen_days=i["pollen_days"])[i["day"]],
    "open_flower": lambda i: open_flower_probability(season(i), pollen_days=i["pollen_days"])[i["day"]],
    "no_pollen": lambda i: no_pollen_probability(i["rate_per_day"], i["days"], pollen_days=i["pollen_days"]),
    "inside": lambda i: inside_probability(Normal(*i["start"]), Normal(*i["end"]), i["day"])[0],
    "expected_days": lambda i: expected_window_days(*window_of(i)),
    "uncertain_window": uncertain_window,
    "uncertain_window_and_rate": both_unknown,
    "scenario": by_scenarios,
    "updated_rate_mean": lambda i: updated(i)[0] / updated(i)[1],
    "updated_rate_probability": lambda i: uncertain_rate_probability(*updated(i), i["days"]),
    "meeting": meeting,
    "thinned": thinned,
    "rate_prior_mean": lambda i: rate_prior(i["group"], i["diel"]).mean_per_day,
    "flower_days": lambda i: constants.FLOWER_DAYS.value,
    "pollen_days": lambda i: constants.POLLEN_DAYS.value,
    "flower_days_maximum": lambda i: constants.FLOWER_DAYS_MAXIMUM.value,
}


@pytest.mark.parametrize("row", cases("flower"))
def test_published_value(row: Row) -> None:
    row.check(CALLS[row.quantity](row.inputs))


# --- the traps ---


def test_mean_number_of_flowers_overstates_an_uncertain_window() -> None:
    expected = 0.25 * expected_window_days(START, END, 140, 146)
    exact = uncertain_window_probability(START, END, 140, 146, rate_per_day=0.25)
    assert -math.expm1(-expected) == pytest.approx(0.29294, abs=1e-5)
    assert exact == pytest.approx(0.19079, abs=1e-5)


def test_fixing_the_rate_overstates_an_uncertain_rate() -> None:
    fixed = uncertain_window_probability(START, END, 150, 156, rate_per_day=0.25)
    drawn = uncertain_window_and_rate_probability(
        START, END, 150, 156, rate_shape=2.0, rate_exposure_days=8.0
    )
    assert fixed == pytest.approx(0.56604, abs=1e-5)
    assert drawn == pytest.approx(0.49298, abs=1e-5)


def test_pollen_of_successive_days_is_not_independent() -> None:
    day = float(pollen_probability(np.full(20, 0.25), pollen_days=2)[10])
    assert (1.0 - day) ** 5 < no_pollen_probability(0.25, 5, pollen_days=2)


def test_mean_rate_overstates_the_chance_of_an_uncertain_one() -> None:
    assert -math.expm1(-7.0 / 38.0 * 7.0) == pytest.approx(0.72458, abs=1e-5)
    assert uncertain_rate_probability(7.0, 38.0, 7.0) == pytest.approx(0.69381, abs=1e-5)


# --- independent ways ---


def test_double_sum_agrees_with_simulated_seasons() -> None:
    """Whole days d with S ≤ d ≤ E, drawn flower by flower."""
    generator = np.random.default_rng(20261124)
    starts, ends = generator.normal(150.0, 8.0, 400_000), generator.normal(240.0, 10.0, 400_000)
    days = np.arange(140.0, 147.0)
    inside = (starts[:, None] <= days) & (days <= ends[:, None])
    flowers = generator.poisson(0.25, inside.shape) * inside
    share = float((flowers.sum(axis=1) > 0).mean())
    standard_error = math.sqrt(share * (1.0 - share) / 400_000)
    exact = uncertain_window_probability(START, END, 140, 146, rate_per_day=0.25)
    assert abs(exact - share) < 4.0 * standard_error


def test_double_sum_agrees_with_simulation_where_start_and_end_overlap() -> None:
    generator = np.random.default_rng(7)
    starts, ends = generator.normal(10.0, 5.0, 400_000), generator.normal(12.0, 5.0, 400_000)
    days, weight = np.arange(5.0, 15.0), np.linspace(1.0, 0.1, 10)
    exposure = (((starts[:, None] <= days) & (days <= ends[:, None])) * weight).sum(axis=1)
    simulated = float(-np.expm1(-0.4 * exposure).mean())
    exact = uncertain_window_probability(
        Normal(10.0, 5.0), Normal(12.0, 5.0), 5, 14, rate_per_day=0.4, day_weight=weight
    )
    assert exact == pytest.approx(simulated, abs=0.002)


def test_gamma_rate_is_the_known_rate_integrated_over_the_gamma() -> None:
    density = stats.gamma(2.0, scale=1.0 / 8.0)

    def weighted(rate: float) -> float:
        chance = uncertain_window_probability(START, END, 150, 156, rate_per_day=rate)
        return chance * float(density.pdf(rate))

    integral, _ = integrate.quad(weighted, 0.0, 6.0, epsabs=1e-9)
    drawn = uncertain_window_and_rate_probability(
        START, END, 150, 156, rate_shape=2.0, rate_exposure_days=8.0
    )
    assert drawn == pytest.approx(integral, abs=1e-6)


def test_no_pollen_agrees_with_simulated_flowers() -> None:
    generator = np.random.default_rng(11)
    new = generator.poisson(0.25, (400_000, 6))
    none = float((new.sum(axis=1) == 0).mean())
    assert no_pollen_probability(0.25, 5, pollen_days=2) == pytest.approx(none, abs=0.003)


@settings(deadline=None)
@given(RATES, DAYS, st.integers(1, 6))
def test_at_least_k_flowers_is_the_tail_of_a_poisson(rate: float, days: float, least: int) -> None:
    tail = float(stats.poisson(rate * days).sf(least - 1))
    assert flowers_probability(rate, days, least=least) == pytest.approx(tail, rel=1e-9, abs=1e-12)


def test_shedding_rate_works_on_scenarios_and_sums_the_days_before() -> None:
    rates = np.array([[1.0, 2.0, 3.0, 4.0], [0.0, 1.0, 0.0, 0.0]])
    assert shedding_rate(rates, pollen_days=2).tolist() == [[0.0, 1.0, 3.0, 5.0], [0.0, 0.0, 1.0, 1.0]]


def test_long_shedding_in_a_short_span_takes_the_days_there_are() -> None:
    assert shedding_rate(np.array([1.0, 1.0]), pollen_days=6).tolist() == [0.0, 1.0]


def test_whole_weights_change_nothing() -> None:
    plain = uncertain_window_probability(START, END, 140, 146, rate_per_day=0.25)
    weighted = uncertain_window_probability(START, END, 140, 146, rate_per_day=0.25, day_weight=np.ones(7))
    assert plain == weighted


def test_groups_without_a_rate_of_their_own_go_by_the_hour_they_open() -> None:
    assert rate_prior("hydrocallis", "night") == constants.RATE_NIGHT_TROPICAL
    assert rate_prior("anecphya", "day") == constants.RATE_DAY_TROPICAL
    assert rate_prior("nelumbo", "day") == constants.RATE_NELUMBO


# --- properties ---


@settings(deadline=None)
@given(RATES, RATES, DAYS)
def test_chance_grows_with_the_rate(rate: float, more: float, days: float) -> None:
    assert flowers_probability(rate, days) <= flowers_probability(rate + more, days)


@settings(deadline=None)
@given(RATES, DAYS, DAYS)
def test_chance_grows_with_the_days(rate: float, days: float, more: float) -> None:
    assert flowers_probability(rate, days) <= flowers_probability(rate, days + more)


@settings(deadline=None)
@given(st.floats(0.01, 3.0), st.integers(120, 260), st.integers(0, 20), st.integers(0, 10))
def test_longer_spans_in_an_uncertain_window_are_never_worse(
    rate: float, first: int, days: int, more: int
) -> None:
    shorter = uncertain_window_probability(START, END, first, first + days, rate_per_day=rate)
    longer = uncertain_window_probability(START, END, first, first + days + more, rate_per_day=rate)
    assert -1e-12 <= shorter <= longer + 1e-12 <= 1.0 + 2e-12


@settings(deadline=None)
@given(st.floats(0.0, 3.0), st.floats(0.0, 3.0), st.integers(120, 260))
def test_uncertain_window_grows_with_the_rate(rate: float, more: float, first: int) -> None:
    low = uncertain_window_probability(START, END, first, first + 6, rate_per_day=rate)
    high = uncertain_window_probability(START, END, first, first + 6, rate_per_day=rate + more)
    assert low <= high + 1e-12


@settings(deadline=None)
@given(st.floats(0.05, 3.0), st.floats(0.1, 0.99))
def test_days_for_a_chance_are_just_enough(rate: float, chance: float) -> None:
    days = days_for_probability(rate, chance)
    assert flowers_probability(rate, days) >= chance - 1e-9
    assert flowers_probability(rate, days - 1) < chance


# --- bad input ---


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: flowers_probability(-0.1, 7.0), "rate_per_day is -0.1; allowed: 0 to 10000."),
        (lambda: flowers_probability(math.nan, 7.0), "rate_per_day is nan"),
        (lambda: flowers_probability(0.1, -1.0), "days is -1"),
        (lambda: flowers_probability(0.1, 1.0, least=-1), "least is -1"),
        (lambda: days_for_probability(0.0, 0.9), "rate_per_day is 0; allowed: above 0."),
        (lambda: days_for_probability(0.1, 1.0), "probability is 1"),
        (lambda: shedding_rate(np.array([0.1]), pollen_days=0), "pollen_days is 0; allowed: 1 to 13."),
        (lambda: shedding_rate(np.array([-0.1]), pollen_days=2), "daily_rate is -0.1"),
        (lambda: no_pollen_probability(0.1, 0, pollen_days=2), "days is 0"),
        (lambda: thinned_probability([0.1], 1.5, success=0.3), "viability is 1.5"),
        (lambda: thinned_probability([0.1], 1.0, success=1.3), "success is 1.3"),
        (lambda: expected_window_days(START, END, 10, 9), "last_day is 9; allowed: 10 to"),
        (lambda: inside_probability(Normal(1.0, 0.0), END, 1.0), "sd is 0"),
        (lambda: uncertain_rate_probability(0.0, 8.0, 7.0), "rate_shape is 0"),
        (lambda: updated_rate(constants.RATE_HARDY, flowers=-1, crown_days=2.0), "flowers is -1"),
    ],
)
def test_bad_input_is_refused_by_name(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
