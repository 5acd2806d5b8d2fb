import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from exchange.science.arrays import FloatArray
from exchange.science.thermal_age import constant_temperature_age, logged_age, rate_factor
from exchange.science.viability import prior_draws
from tests.published import Row, cases

Q10 = np.array([1.4, 2.2, 3.5])
history = st.lists(st.tuples(st.floats(0.05, 30.0), st.floats(-40.0, 45.0)), min_size=2, max_size=12).map(
    lambda steps: (np.cumsum([step for step, _ in steps]), np.array([degree for _, degree in steps]))
)


@pytest.mark.parametrize("row", cases("temperature", "equivalent_hours_at_4"))
def test_steps_at_two_temperatures_add_up(row: Row) -> None:
    q10 = np.array([float(row.inputs["q10"])])
    days = [
        constant_temperature_age(hours / 24.0, degree, q10)[0, 0] for hours, degree in row.inputs["steps"]
    ]
    row.check(24.0 * sum(days))


@pytest.mark.parametrize("row", cases("temperature", "equivalent_hours_at_5"))
def test_a_warm_afternoon_counts_as_many_cool_hours(row: Row) -> None:
    q10 = np.array([float(row.inputs["q10"])])
    warm = rate_factor(row.inputs["temperature_c"], q10) / rate_factor(5.0, q10)
    row.check(row.inputs["hours"] * float(warm[0]))


@pytest.mark.parametrize("row", cases("temperature", "equivalent_days"))
def test_drying_costs_its_stated_days(row: Row) -> None:
    q10 = np.array([row.inputs["q10"]])
    row.check(constant_temperature_age(row.inputs["days"], row.inputs["temperature_c"], q10)[0, 0])


def test_rate_is_one_at_four_degrees_and_follows_each_draws_own_q10() -> None:
    draws = prior_draws("dried")
    assert rate_factor(4.0, draws.q10).tolist() == [1.0] * 4000
    table = rate_factor([4.0, 14.0, 24.0], draws.q10)
    assert table.shape == (4000, 3)
    assert table[:, 1] == pytest.approx(draws.q10)
    assert table[:, 2] == pytest.approx(draws.q10**2)


def test_no_rate_is_credited_below_freezing_until_tested() -> None:
    assert rate_factor(-18.0, Q10) == pytest.approx(rate_factor(0.0, Q10))
    assert rate_factor(-16.0, Q10, credit_below_freezing=True) == pytest.approx(Q10**-2.0)
    frozen = logged_age(np.array([0.0, 48.0]), np.array([-18.0, -18.0]), Q10)
    assert frozen == pytest.approx(2.0 * Q10**-0.4)
    credited = logged_age(np.array([0.0, 48.0]), np.array([-16.0, -16.0]), Q10, credit_below_freezing=True)
    assert credited == pytest.approx(2.0 * Q10**-2.0)


def _by_quadrature(hours: FloatArray, temperature_c: FloatArray, q10: float) -> float:
    def rate(hour: float) -> float:
        return float(q10 ** ((max(np.interp(hour, hours, temperature_c), 0.0) - 4.0) / 10.0))

    edges = np.unique(np.concatenate([hours, np.linspace(hours[0], hours[-1], 400)]))
    nodes, weights = np.polynomial.legendre.leggauss(5)
    total = 0.0
    for low, high in itertools.pairwise(edges):
        middle, half = (low + high) / 2.0, (high - low) / 2.0
        total += half * sum(w * rate(middle + half * x) for x, w in zip(nodes, weights, strict=True))
    return total / 24.0


def test_linear_history_is_integrated_exactly_through_freezing() -> None:
    hours, degrees = np.array([0.0, 5.0, 9.0, 30.0, 31.0]), np.array([-12.0, 8.0, 34.0, 34.0, -3.0])
    expected = [_by_quadrature(hours, degrees, q10) for q10 in Q10]
    assert logged_age(hours, degrees, Q10) == pytest.approx(expected, rel=1e-5)


def test_one_rising_segment_has_the_closed_form() -> None:
    expected, _ = integrate.quad(lambda hour: 2.2 ** ((4.0 + hour - 4.0) / 10.0) / 24.0, 0.0, 20.0)
    age = logged_age(np.array([0.0, 20.0]), np.array([4.0, 24.0]), np.array([2.2]))
    assert float(age[0]) == pytest.approx(expected, rel=1e-12)
    trapezoid = 20.0 / 24.0 * (1.0 + 2.2**2) / 2.0
    assert float(age[0]) < trapezoid - 0.1


@given(log=history, share=st.floats(0.01, 0.99), segment=st.integers(0, 10))
@settings(max_examples=60, deadline=None)
def test_splitting_a_segment_changes_nothing(
    log: tuple[FloatArray, FloatArray], share: float, segment: int
) -> None:
    hours, degrees = log
    place = segment % (len(hours) - 1)
    when = hours[place] + share * (hours[place + 1] - hours[place])
    more = np.insert(hours, place + 1, when)
    between = np.insert(degrees, place + 1, np.interp(when, hours, degrees))
    assert logged_age(more, between, Q10) == pytest.approx(logged_age(hours, degrees, Q10), rel=1e-12)


@given(log=history, warmer=st.floats(0.0, 15.0))
@settings(max_examples=40, deadline=None)
def test_hotter_is_never_younger(log: tuple[FloatArray, FloatArray], warmer: float) -> None:
    hours, degrees = log
    assert (logged_age(hours, degrees + warmer, Q10) >= logged_age(hours, degrees, Q10) * (1 - 1e-12)).all()


def test_a_long_log_equals_its_parts_and_the_constant_age() -> None:
    hours = np.arange(0.0, 400.0, 0.25)
    degrees = 6.0 + 5.0 * np.sin(hours / 3.8)
    draws = prior_draws("dried")
    whole = logged_age(hours, degrees, draws.q10)
    parts = logged_age(hours[:700], degrees[:700], draws.q10) + logged_age(
        hours[699:], degrees[699:], draws.q10
    )
    assert whole == pytest.approx(parts, rel=1e-12)
    steady = logged_age(hours, np.full_like(hours, 9.0), draws.q10)
    days = float(hours[-1]) / 24.0
    assert steady == pytest.approx(constant_temperature_age(days, 9.0, draws.q10)[:, 0], rel=1e-12)


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="temperature_c is 75; allowed: -90 to 60"):
        rate_factor(75.0, Q10)
    with pytest.raises(ValueError, match="q10 is 0; allowed: above 0"):
        rate_factor(4.0, np.array([0.0]))
    with pytest.raises(ValueError, match="days is -1; allowed: 0 to inf"):
        constant_temperature_age(-1.0, 4.0, Q10)
    with pytest.raises(ValueError, match="hours is 1 after 2; allowed: each reading later"):
        logged_age(np.array([2.0, 1.0]), np.array([4.0, 4.0]), Q10)
    with pytest.raises(ValueError, match="allowed: two or more readings, one temperature each"):
        logged_age(np.array([2.0]), np.array([4.0]), Q10)
    with pytest.raises(ValueError, match="hours is nan"):
        logged_age(np.array([0.0, np.nan]), np.array([4.0, 4.0]), Q10)
