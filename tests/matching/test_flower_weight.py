"""First-use weights: which flower a packet meets, against products and Poisson tails written out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from exchange.matching.flower_weight import first_use_weights
from exchange.science.arrays import FloatArray

HALF = math.log(2.0)
rates = st.lists(st.lists(st.floats(0.0, 3.0), min_size=4, max_size=4), min_size=1, max_size=3).map(
    lambda rows: np.array(rows, dtype=np.float64)
)


def test_even_chances_halve_from_day_to_day() -> None:
    weights = first_use_weights(np.full((1, 3), HALF))
    assert weights == pytest.approx(np.array([[0.5, 0.25, 0.125], [0.5, 0.25, 0.0], [0.5, 0.0, 0.0]]))


def test_the_mean_is_taken_over_scenarios_not_over_rates() -> None:
    weights = first_use_weights(np.array([[0.0, 0.0], [2.0 * HALF, 2.0 * HALF]]))
    assert weights[0] == pytest.approx([0.375, 0.09375])


def test_the_second_dose_needs_a_second_flower() -> None:
    weights = first_use_weights(np.full((1, 2), HALF), dose=2)
    # One day gives two or more with 1 - (1 + ln 2)/2, two days with 1 - (1 + 2 ln 2)/4.
    one_day, two_days = 1.0 - (1.0 + HALF) / 2.0, 1.0 - (1.0 + 2.0 * HALF) / 4.0
    assert weights[0] == pytest.approx([one_day, two_days - one_day])


@given(rates)
def test_first_dose_is_the_product_over_days_without_a_flower(daily_rate: FloatArray) -> None:
    weights, days = first_use_weights(daily_rate), daily_rate.shape[1]
    for arrival in range(days):
        for wait in range(days):
            expected = 0.0
            for row in daily_rate if arrival + wait < days else ():
                chance = 1.0 - math.exp(-row[arrival + wait])
                for earlier in range(arrival, arrival + wait):
                    chance *= math.exp(-row[earlier])
                expected += chance / len(daily_rate)
            assert weights[arrival, wait] == pytest.approx(expected, abs=1e-12)


def test_very_many_flowers_are_no_trouble() -> None:
    daily_rate = np.random.default_rng(5).uniform(0.0, 90.0, (3, 40))
    daily_rate[:, 10:20] = 0.0
    daily_rate[0] *= 10.0
    weights = first_use_weights(daily_rate)
    assert np.isfinite(weights).all()
    for arrival in range(40):
        gone = np.cumsum(daily_rate[:, arrival:], axis=1) - daily_rate[:, arrival:]
        expected = (np.exp(-gone) * -np.expm1(-daily_rate[:, arrival:])).mean(axis=0)
        assert weights[arrival, : 40 - arrival] == pytest.approx(expected, abs=1e-12)


@given(rates, st.integers(1, 5))
def test_no_dose_is_used_twice(daily_rate: FloatArray, dose: int) -> None:
    weights = first_use_weights(daily_rate, dose=dose)
    assert weights.min() >= -1e-12
    assert weights.sum(axis=1).max() <= 1.0 + 1e-12


@given(rates, st.integers(1, 4))
def test_each_dose_is_used_when_so_many_flowers_have_opened(daily_rate: FloatArray, dose: int) -> None:
    used = first_use_weights(daily_rate, dose=dose)[0].cumsum()
    opened = daily_rate.cumsum(axis=1)
    assert used == pytest.approx(np.mean(stats.poisson.sf(dose - 1, opened), axis=0), abs=1e-12)


@given(rates, st.integers(1, 4))
def test_a_later_dose_is_never_used_sooner(daily_rate: FloatArray, dose: int) -> None:
    first, second = (first_use_weights(daily_rate, dose=number).cumsum(axis=1) for number in (dose, dose + 1))
    assert (second <= first + 1e-12).all()


def test_doses_are_counted_from_one() -> None:
    with pytest.raises(ValueError, match=r"dose is 0; allowed: 1 or more\."):
        first_use_weights(np.ones((1, 2)), dose=0)
