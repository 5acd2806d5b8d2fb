"""At least one capsule from several doses, against every way in which flowers may open."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from exchange.matching.capsule import any_capsule_chance
from exchange.matching.flower_weight import first_use_weights
from exchange.science.arrays import FloatArray

shares = st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3)
daily = st.lists(st.floats(0.0, 2.5), min_size=3, max_size=3)


def exhaustive(success: list[float], rate: list[float], doses: int) -> float:
    """Every number of flowers on every day; ``doses`` stands for so many or more."""
    none = 0.0
    for flowers in product(range(doses + 1), repeat=len(rate)):
        chance, left, failing = 1.0, doses, 1.0
        for opened, expected, takes in zip(flowers, rate, success, strict=True):
            tail = opened == doses
            law = stats.poisson.sf(doses - 1, expected) if tail else stats.poisson.pmf(opened, expected)
            used = min(opened, left)
            chance, left, failing = chance * float(law), left - used, failing * (1.0 - takes) ** used
        none += chance * failing
    return 1.0 - none


@given(shares, daily, st.integers(1, 3))
def test_it_is_the_sum_over_all_flowers_that_may_open(
    success: list[float], rate: list[float], doses: int
) -> None:
    found = any_capsule_chance(np.array([success]), np.array([rate]), doses)
    assert found[0] == pytest.approx(exhaustive(success, rate, doses), abs=1e-9)


@given(shares, daily)
def test_one_dose_is_the_first_use_weight_times_its_success(success: list[float], rate: list[float]) -> None:
    weights = first_use_weights(np.array([rate]))[0]
    found = any_capsule_chance(np.array([success]), np.array([rate]), 1)
    assert found[0] == pytest.approx(float(weights @ np.array(success)), abs=1e-12)


@pytest.mark.parametrize("doses", [1, 3])
def test_draws_and_scenarios_may_be_given_apart(doses: int) -> None:
    rng = np.random.default_rng(2)
    success, rate = rng.uniform(0.0, 1.0, (4, 6)), rng.uniform(0.0, 2.0, (3, 6))
    found = any_capsule_chance(success[:, None, :], rate, doses)
    assert found.shape == (4, 3)
    for draw, scenario in product(range(4), range(3)):
        one = any_capsule_chance(success[[draw]], rate[[scenario]], doses)
        assert found[draw, scenario] == pytest.approx(one[0], abs=1e-15)


def test_more_flowers_than_anybody_counts_use_up_the_doses() -> None:
    success, rate = np.array([[0.3, 0.9]]), np.array([[5000.0, 5000.0]])
    for doses in (1, 4, 12):
        assert any_capsule_chance(success, rate, doses)[0] == pytest.approx(1.0 - 0.7**doses, abs=1e-9)


def test_doses_without_end_are_a_thinned_poisson() -> None:
    success, rate = np.array([[0.3, 0.2]]), np.array([[0.4, 0.5]])
    found = any_capsule_chance(success, rate, 12)
    assert found[0] == pytest.approx(1.0 - np.exp(-(0.3 * 0.4 + 0.2 * 0.5)), abs=1e-9)


def test_independence_overstates_what_more_doses_add() -> None:
    takes = np.array([0.0, 0.0, 0.0, 1.0])
    many_flowers: FloatArray = np.full((4, 1), 50.0)
    one = any_capsule_chance(takes[:, None], many_flowers, 1).mean()
    four = any_capsule_chance(takes[:, None], many_flowers, 4).mean()
    assert one == pytest.approx(0.25)
    assert four == pytest.approx(0.25)
    assert 1.0 - (1.0 - one) ** 4 == pytest.approx(0.684, abs=0.001)


@pytest.mark.parametrize("doses", [0, 13])
def test_doses_out_of_range_are_refused(doses: int) -> None:
    with pytest.raises(ValueError, match=f"doses is {doses}; allowed: 1 to 12"):
        any_capsule_chance(np.ones((1, 1)), np.ones((1, 1)), doses)
