"""The inner loop is the same as the science it runs together, cell by cell."""

from dataclasses import replace

import numpy as np
import pytest

from exchange.science import constants
from exchange.science.aged_effect import low_aged_effect, mean_aged_effect
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.viability import Treatment, prior_draws, remaining_fraction

WAITS = np.array([0.0, 0.5, 3.0, 20.0, 150.0, 900.0])
LOW = constants.LOW_QUANTILE.value


@pytest.mark.parametrize("treatment", ["fresh", "dried", "frozen"])
@pytest.mark.parametrize(("dtype", "tolerance"), [(np.float64, 1e-12), (np.float32, 2e-6)])
def test_mean_and_low_end_are_those_of_the_science(
    treatment: Treatment, dtype: type[np.float64] | type[np.float32], tolerance: float
) -> None:
    draws, rate = prior_draws(treatment), live_effect_rates()
    ages = np.outer(draws.q10, [0.0, 1.0, 7.5])
    mean = mean_aged_effect(draws, rate, ages, WAITS, dtype=dtype)
    low = low_aged_effect(draws, rate, ages, WAITS, LOW, dtype=dtype)
    for row in range(ages.shape[1]):
        effect = live_effect(remaining_fraction(draws, ages[:, [row]] + WAITS), rate)
        assert mean[row] == pytest.approx(effect.mean(axis=0), abs=tolerance)
        expected = np.quantile(effect, LOW, axis=0, method="inverted_cdf")
        # One draw alone: no averaging of the rounding.
        assert low[row] == pytest.approx(expected, abs=10.0 * tolerance)


def test_draws_count_by_their_weight() -> None:
    draws, rate = prior_draws("dried"), live_effect_rates()
    weight = np.zeros(rate.size)
    weight[:2] = 3.0, 1.0
    weighted, ages = replace(draws, weight=weight), np.ones((rate.size, 1))
    effect = live_effect(remaining_fraction(draws, ages + WAITS), rate)
    expected = (3.0 * effect[0] + effect[1]) / 4.0
    assert mean_aged_effect(weighted, rate, ages, WAITS)[0] == pytest.approx(expected)
    assert low_aged_effect(weighted, rate, ages, WAITS, LOW)[0] == pytest.approx(effect[:2].min(axis=0))


def test_fresh_cut_pollen_has_its_whole_effect() -> None:
    draws, rate = prior_draws("dried"), live_effect_rates()
    now = np.zeros((draws.q10.size, 1)), np.zeros(1)
    assert mean_aged_effect(draws, rate, *now)[0, 0] == pytest.approx(1.0, abs=1e-12)
    assert low_aged_effect(draws, rate, *now, LOW)[0, 0] == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("name", ["age_days", "wait_days", "rate"])
def test_a_negative_number_is_refused_by_name(name: str) -> None:
    draws = prior_draws("dried")
    given = {"rate": live_effect_rates(), "age_days": np.zeros((draws.q10.size, 1)), "wait_days": np.zeros(1)}
    given[name] = given[name] - 5.0
    with pytest.raises(ValueError, match=f"{name} is -"):
        mean_aged_effect(draws, given["rate"], given["age_days"], given["wait_days"])
    with pytest.raises(ValueError, match=f"{name} is -"):
        low_aged_effect(draws, given["rate"], given["age_days"], given["wait_days"], LOW)
