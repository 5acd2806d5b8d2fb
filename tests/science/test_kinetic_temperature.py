import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.science.constants import GAS_CONSTANT, KINETIC_ACTIVATION_ENERGY
from exchange.science.kinetic_temperature import (
    activation_energy_from_rates,
    arrhenius_factor,
    logged_kinetic_temperature,
    mean_kinetic_temperature,
    q10_from_rates,
    worst_day_kinetic_temperature,
)
from tests.published import Row, cases

degrees = st.lists(st.floats(-20.0, 45.0), min_size=1, max_size=20).map(np.array)


@pytest.mark.parametrize("row", cases("temperature", "mean_kinetic_temperature"))
def test_mean_kinetic_temperature_has_its_stated_values(row: Row) -> None:
    weight = row.inputs["weight"] and np.array(row.inputs["weight"], dtype=np.float64)
    temperatures = np.array(row.inputs["temperature_c"], dtype=np.float64)
    energy = row.inputs["activation_energy"]
    row.check(mean_kinetic_temperature(temperatures, weight, activation_energy=energy))


@pytest.mark.parametrize("row", cases("temperature", "energy_over_gas_constant"))
def test_convention_of_the_pharmacopoeia_is_ten_thousand_kelvin(row: Row) -> None:
    row.check(KINETIC_ACTIVATION_ENERGY.value / GAS_CONSTANT.value)


@pytest.mark.parametrize("row", cases("temperature", "arrhenius_factor", "arrhenius_drop_percent"))
def test_arrhenius_factor_has_its_stated_values(row: Row) -> None:
    factor = float(arrhenius_factor(**row.inputs))
    row.check(factor if row.quantity == "arrhenius_factor" else 100.0 * (1.0 - factor))


@pytest.mark.parametrize("row", cases("temperature", "activation_energy"))
def test_two_rates_give_the_stated_activation_energy(row: Row) -> None:
    row.check(activation_energy_from_rates(**row.inputs))


def test_energy_and_q10_are_found_again_from_the_rates_they_make() -> None:
    warm = float(arrhenius_factor(25.0, 5.0, 60_000.0))
    assert activation_energy_from_rates(1.0, 5.0, warm, 25.0) == pytest.approx(60_000.0)
    assert q10_from_rates(0.2, 5.0, 0.2 * 2.5**2, 25.0) == pytest.approx(2.5)


@given(temperatures=degrees)
@settings(deadline=None)
def test_kinetic_mean_lies_between_the_mean_and_the_maximum(temperatures: np.ndarray) -> None:
    kinetic = mean_kinetic_temperature(temperatures)
    assert temperatures.mean() - 1e-9 <= kinetic <= temperatures.max() + 1e-9


@given(temperatures=degrees, energy=st.floats(1e3, 9e5), more=st.floats(1.0, 1e5))
@settings(deadline=None)
def test_order_is_nothing_and_a_higher_energy_never_cooler(
    temperatures: np.ndarray, energy: float, more: float
) -> None:
    kinetic = mean_kinetic_temperature(temperatures, activation_energy=energy)
    backwards = mean_kinetic_temperature(temperatures[::-1], activation_energy=energy)
    assert backwards == pytest.approx(kinetic, abs=1e-9)
    assert mean_kinetic_temperature(temperatures, activation_energy=energy + more) >= kinetic - 1e-9


@given(temperatures=degrees)
@settings(deadline=None)
def test_splitting_the_time_of_a_reading_changes_nothing(temperatures: np.ndarray) -> None:
    twice = np.repeat(temperatures, 2)
    shares = np.tile([0.3, 0.7], len(temperatures))
    assert mean_kinetic_temperature(twice, shares) == pytest.approx(mean_kinetic_temperature(temperatures))


def test_logged_mean_weights_unequal_steps_by_the_trapezoid() -> None:
    hours, temperatures = np.array([0.0, 1.0, 10.0]), np.array([5.0, 25.0, 5.0])
    halves = mean_kinetic_temperature(np.array([5.0, 25.0]), np.array([5.0, 5.0]))
    assert logged_kinetic_temperature(hours, temperatures) == pytest.approx(halves)
    steady = logged_kinetic_temperature(hours, np.full(3, 7.0))
    assert steady == pytest.approx(7.0, abs=1e-9)


def test_a_long_trip_hides_a_hot_day_that_the_worst_day_shows() -> None:
    hours = np.arange(0.0, 240.5, 0.5)
    temperatures = np.where((hours >= 101.0) & (hours <= 125.0), 30.0, 5.0)
    assert worst_day_kinetic_temperature(hours, temperatures) == pytest.approx(30.0, abs=1e-9)
    assert logged_kinetic_temperature(hours, temperatures) < 20.0


def test_worst_day_is_found_between_sparse_readings() -> None:
    hours, temperatures = np.array([0.0, 30.0, 31.0, 100.0]), np.array([5.0, 5.0, 25.0, 25.0])
    assert worst_day_kinetic_temperature(hours, temperatures) == pytest.approx(25.0, abs=1e-9)


def test_worst_day_round_a_peak_lies_astride_it() -> None:
    hours, temperatures = np.array([0.0, 24.0, 48.0]), np.array([5.0, 25.0, 5.0])
    rate = np.interp([12.0, 24.0], [0.0, 24.0], arrhenius_factor([5.0, 25.0], 25.0, 83_144.0))
    mean = float(rate.mean())
    expected = 1.0 / (1.0 / 298.15 - GAS_CONSTANT.value / 83_144.0 * np.log(mean)) - 273.15
    assert worst_day_kinetic_temperature(hours, temperatures) == pytest.approx(expected, abs=1e-9)


@given(temperatures=st.lists(st.floats(-10.0, 40.0), min_size=4, max_size=12), start=st.floats(0.0, 1.0))
@settings(deadline=None)
def test_no_day_of_a_log_is_warmer_than_its_worst(temperatures: list[float], start: float) -> None:
    hours = np.linspace(0.0, 96.0, len(temperatures))
    logged = np.array(temperatures)
    worst = worst_day_kinetic_temperature(hours, logged)
    first = 72.0 * start
    fine = np.linspace(first, first + 24.0, 2001)
    rates = np.interp(fine, hours, arrhenius_factor(logged, 10.0, KINETIC_ACTIVATION_ENERGY.value))
    mean = float(np.mean((rates[1:] + rates[:-1]) / 2.0))
    kelvin = 1.0 / (1.0 / 283.15 - GAS_CONSTANT.value / KINETIC_ACTIVATION_ENERGY.value * np.log(mean))
    assert worst >= kelvin - 273.15 - 0.01


def test_a_short_log_is_its_own_worst_day() -> None:
    hours, temperatures = np.array([0.0, 6.0, 20.0]), np.array([5.0, 9.0, 4.0])
    whole = logged_kinetic_temperature(hours, temperatures)
    assert worst_day_kinetic_temperature(hours, temperatures) == whole


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="temperature_c is 99; allowed: -90 to 60"):
        mean_kinetic_temperature(np.array([99.0]))
    with pytest.raises(ValueError, match="activation_energy is 0; allowed: above 0"):
        arrhenius_factor(5.0, 4.0, 0.0)
    with pytest.raises(ValueError, match="weight has shape"):
        mean_kinetic_temperature(np.array([5.0]), np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="other_c is 5; allowed: another temperature"):
        q10_from_rates(1.0, 5.0, 2.0, 5.0)
    with pytest.raises(ValueError, match="rate is 0; allowed: above 0"):
        activation_energy_from_rates(0.0, 5.0, 2.0, 9.0)
    with pytest.raises(ValueError, match="window_hours is 0; allowed: above 0"):
        worst_day_kinetic_temperature(np.array([0.0, 1.0]), np.array([5.0, 5.0]), window_hours=0.0)
