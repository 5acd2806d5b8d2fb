"""Pond temperature: published lakes, exact lag, an independent filter and solver, limits."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.signal import lfilter

from exchange.science import pond
from exchange.science.arrays import FloatArray
from exchange.science.climate import daily_air_temperature
from exchange.science.degree_day import water_degree_days
from tests.published import Row, cases

LAKES = {"neusiedl": pond.NEUSIEDL, "balaton": pond.BALATON}


def water_of(inputs: dict[str, Any]) -> FloatArray:
    air_c = daily_air_temperature(np.array(inputs["monthly_mean_c"]))
    return pond.pond_temperature(
        air_c, inputs["response_days"], intercept_c=inputs["intercept_c"], slope=inputs["slope"]
    )


def sinusoid(inputs: dict[str, Any]) -> tuple[FloatArray, FloatArray]:
    """Air and water of a year that is one wave."""
    days = np.arange(365.0)
    air_c = inputs["mean_c"] + inputs["amplitude_c"] * np.sin(2.0 * np.pi * days / 365.0)
    lake = LAKES[inputs["lake"]]
    water_c = pond.pond_temperature(air_c, lake.response_days, intercept_c=lake.intercept_c, slope=lake.slope)
    return air_c, water_c


@pytest.mark.parametrize("row", cases("pond", "linear"))
def test_published_straight_line(row: Row) -> None:
    row.check(pond.linear_water_temperature(np.array(row.inputs["air_c"])).item())


@pytest.mark.parametrize("row", cases("pond", "lake_parameter"))
def test_published_lake_parameters(row: Row) -> None:
    row.check(getattr(LAKES[row.inputs["lake"]], row.inputs["parameter"]).value)


@pytest.mark.parametrize("row", cases("pond", "lake_derived"))
def test_published_behaviour_of_lakes(row: Row) -> None:
    lake = LAKES[row.inputs["lake"]]
    values = {
        "response_days": lake.response_days,
        "intercept_c": lake.intercept_c,
        "slope": lake.slope,
        "annual_amplitude_ratio": pond.annual_amplitude_ratio(lake.response_days, lake.slope),
        "annual_lag_days": pond.annual_lag_days(lake.response_days),
    }
    row.check(values[row.inputs["property"]])


@pytest.mark.parametrize("row", cases("pond", "lag"))
def test_published_lag_to_constant_air(row: Row) -> None:
    inputs = row.inputs
    target_c = pond.equilibrium_temperature(
        np.full(inputs["days"], float(inputs["air_c"])),
        intercept_c=inputs["intercept_c"],
        slope=inputs["slope"],
    )
    row.check(pond.follow_equilibrium(target_c, inputs["start_c"], inputs["response_days"])[-1])


@pytest.mark.parametrize("row", cases("pond", "sinusoid_mean", "sinusoid_amplitude", "sinusoid_delay"))
def test_published_answer_to_an_annual_wave(row: Row) -> None:
    air_c, water_c = sinusoid(row.inputs)
    values = {
        "sinusoid_mean": water_c.mean(),
        "sinusoid_amplitude": (water_c.max() - water_c.min()) / 2.0,
        "sinusoid_delay": float(water_c.argmax() - air_c.argmax()),
    }
    row.check(values[row.quantity])


@pytest.mark.parametrize("row", cases("pond", "water_of_months"))
def test_published_water_of_a_place(row: Row) -> None:
    row.check(water_of(row.inputs)[row.inputs["day_of_year"] - 1])


@pytest.mark.parametrize("row", cases("pond", "water_degree_days_of_months"))
def test_published_degree_days_of_a_pond(row: Row) -> None:
    total = np.cumsum(water_degree_days(water_of(row.inputs), row.inputs["lower_c"]))
    row.check(total[row.inputs["day_of_year"] - 1])


@pytest.mark.parametrize("row", cases("pond", "response_days"))
def test_default_response_times(row: Row) -> None:
    row.check(pond.response_days_of_depth(**row.inputs))


def test_response_time_steps_at_the_named_depths() -> None:
    depths_m = (0.599, 0.6, 1.5, 1.501)
    assert [pond.response_days_of_depth(depth_m) for depth_m in depths_m] == [2.0, 4.0, 4.0, 6.0]


@given(response_days=st.floats(0.3, 30.0), start_c=st.floats(1.0, 34.0), seed=st.integers(0, 9999))
def test_lag_equals_an_independent_recursive_filter(response_days: float, start_c: float, seed: int) -> None:
    target_c = np.random.default_rng(seed).uniform(1.0, 34.0, 60)
    kept = np.exp(-1.0 / response_days)
    filtered, _ = lfilter([1.0 - kept], [1.0, -kept], target_c, zi=[kept * start_c])
    assert pond.follow_equilibrium(target_c, start_c, response_days) == pytest.approx(filtered, abs=1e-9)


def test_one_step_solves_the_heat_balance_of_the_lake() -> None:
    lake, air_c, start_c = pond.NEUSIEDL, 22.0, 9.0
    a1, a2, a3 = lake.a1.value, lake.a2.value, lake.a3.value
    solution = solve_ivp(lambda _, water: a1 + a2 * air_c - a3 * water, (0.0, 3.0), [start_c], rtol=1e-10)
    target_c = pond.equilibrium_temperature(np.full(3, air_c), intercept_c=lake.intercept_c, slope=lake.slope)
    final_c = pond.follow_equilibrium(target_c, start_c, lake.response_days)[-1]
    assert final_c == pytest.approx(solution.y[0, -1], abs=1e-6)


def test_the_year_closes_on_itself() -> None:
    air_c = 11.0 + 10.0 * np.sin(2.0 * np.pi * np.arange(365.0) / 365.0)
    water_c = pond.pond_temperature(air_c, 6.0)
    target_c = pond.equilibrium_temperature(air_c)
    again_c = pond.follow_equilibrium(target_c, float(water_c[-1]), 6.0)
    assert again_c == pytest.approx(water_c, abs=1e-9)


def test_water_stays_between_ice_and_the_cut_for_heat() -> None:
    air_c = 10.0 + 40.0 * np.sin(2.0 * np.pi * np.arange(365.0) / 365.0)
    water_c = pond.pond_temperature(air_c, 4.0)
    assert water_c.min() == 0.0
    assert 33.9 < water_c.max() <= 34.0
    assert pond.equilibrium_temperature(np.array([30.0, 40.0]), intercept_c=0.0, slope=1.0).tolist() == [
        30.0,
        34.0,
    ]


@settings(max_examples=30, deadline=None)
@given(mean_c=st.floats(-10.0, 28.0), amplitude_c=st.floats(0.0, 18.0), warmer_c=st.floats(0.0, 6.0))
def test_warmer_air_never_gives_colder_water(mean_c: float, amplitude_c: float, warmer_c: float) -> None:
    air_c = mean_c + amplitude_c * np.sin(2.0 * np.pi * np.arange(365.0) / 365.0)
    difference_c = pond.pond_temperature(air_c + warmer_c, 4.0) - pond.pond_temperature(air_c, 4.0)
    assert difference_c.min() >= -1e-9


@given(days_from=st.floats(0.3, 30.0), more_days=st.floats(0.0, 20.0))
def test_slower_water_comes_later_and_swings_less(days_from: float, more_days: float) -> None:
    fast, slow = days_from, days_from + more_days
    assert pond.annual_lag_days(fast) <= pond.annual_lag_days(slow)
    assert pond.annual_amplitude_ratio(fast, 1.06) >= pond.annual_amplitude_ratio(slow, 1.06)


def test_bad_input_is_refused_with_a_sentence() -> None:
    year_c = np.zeros(365)
    with pytest.raises(ValueError, match=r"^air_c has shape \(364,\); allowed: \(365,\).$"):
        pond.pond_temperature(year_c[1:], 4.0)
    with pytest.raises(ValueError, match=r"^air_c is 61; allowed: -90 to 60.$"):
        pond.pond_temperature(year_c + 61.0, 4.0)
    with pytest.raises(ValueError, match=r"^response_days is 0; allowed: above 0.$"):
        pond.pond_temperature(year_c, 0.0)
    with pytest.raises(ValueError, match=r"^slope is 3; allowed: 0 to 2.$"):
        pond.pond_temperature(year_c, 4.0, slope=3.0)
    with pytest.raises(ValueError, match=r"^start_c is nan; allowed: 0 to 60.$"):
        pond.follow_equilibrium(year_c, float("nan"), 4.0)
    with pytest.raises(ValueError, match=r"^depth_m is -1; allowed: above 0.$"):
        pond.response_days_of_depth(-1.0)
