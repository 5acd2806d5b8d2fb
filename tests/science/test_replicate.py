import numpy as np
import pytest
from scipy import stats

from exchange.science.replicate import (
    beta_binomial_log_likelihood,
    compare_replicates,
    replicate_correlation,
    tolerated_range_percent,
)
from tests.published import Row, cases, published


@pytest.mark.parametrize("row", cases("proportion", "tolerated_range"))
def test_formula_meets_the_seed_rule_within_a_point(row: Row) -> None:
    row.check(round(tolerated_range_percent(**row.inputs)))


def test_formula_meets_most_rows_of_the_seed_rule_exactly() -> None:
    exact = {2: 0, 4: 0}
    for row in published("proportion"):
        if row.quantity == "tolerated_range":
            exact[row.inputs["replicate_count"]] += round(tolerated_range_percent(**row.inputs)) == row.value
    assert exact == {4: 23, 2: 23}


@pytest.mark.parametrize("row", cases("proportion", "miles_range"))
def test_unrounded_formula_has_its_stated_value(row: Row) -> None:
    row.check(tolerated_range_percent(**row.inputs))


@pytest.mark.parametrize("row", cases("proportion", "studentized_range"))
def test_studentized_range_is_read_from_the_formula(row: Row) -> None:
    # At 50 % and 25 grains the standard error is ten points, so the tolerance is ten quantiles.
    row.check(tolerated_range_percent(50.0, row.inputs["replicate_count"], 25.0) / 10.0)


def test_replicates_that_agree_and_that_do_not() -> None:
    alike = compare_replicates([62, 58, 60], [100, 100, 100])
    assert alike.agree
    assert alike.mean_percent == pytest.approx(60.0)
    assert alike.range_percent == pytest.approx(4.0)
    apart = compare_replicates([80, 40], [100, 100])
    assert not apart.agree
    assert apart.tolerated_percent == pytest.approx(tolerated_range_percent(60.0, 2, 100.0))


def test_equal_replicates_agree_even_where_nothing_is_tolerated() -> None:
    assert compare_replicates([0, 0], [100, 100]).agree
    assert compare_replicates([100, 100, 100], [100, 100, 100]).agree


def test_unequal_replicates_are_taken_at_their_harmonic_mean() -> None:
    compared = compare_replicates([50, 100], [100, 200])
    assert compared.tolerated_percent == pytest.approx(tolerated_range_percent(50.0, 2, 400.0 / 3.0))


def test_likelihood_is_the_beta_binomial_of_scipy() -> None:
    alive = np.array([0.01, 0.3, 0.72, 0.999])
    precision = 0.98 / 0.02
    expected = stats.betabinom.logpmf(30, 100, alive * precision, (1.0 - alive) * precision)
    assert beta_binomial_log_likelihood(alive, 30, 100, 0.02) == pytest.approx(expected, rel=1e-9)
    binomial = beta_binomial_log_likelihood(alive, 30, 100, 0.0)
    assert binomial == pytest.approx(stats.binom.logpmf(30, 100, alive))
    assert beta_binomial_log_likelihood(alive, 30, 100, 1e-7) == pytest.approx(binomial, rel=1e-3)


def test_likelihood_sums_to_one_and_survives_the_ends() -> None:
    alive = np.array([0.0, 1e-200, 0.4, 1.0])
    table = np.exp([beta_binomial_log_likelihood(alive, k, 20, 0.02) for k in range(21)])
    assert table.sum(axis=0) == pytest.approx(np.ones(4))
    assert table[0, 0] == pytest.approx(1.0)
    assert table[20, 3] == pytest.approx(1.0)
    assert table[:, 2] @ np.arange(21) == pytest.approx(8.0)


def test_correlation_is_found_again_from_many_tests() -> None:
    rng = np.random.default_rng(7)
    precision = 0.95 / 0.05
    assays = []
    for alive in rng.uniform(0.2, 0.8, 3000):
        share = rng.beta(alive * precision, (1.0 - alive) * precision, 4)
        assays.append((rng.binomial(100, share).tolist(), [100] * 4))
    assert replicate_correlation(assays) == pytest.approx(0.05, abs=0.004)


def test_correlation_is_the_default_until_thirty_tests_tell_something() -> None:
    telling, silent = ([30, 70], [100, 100]), ([30], [100])
    assert replicate_correlation([telling] * 29 + [silent] * 50 + [([0, 0], [9, 9])] * 5) == 0.02
    assert replicate_correlation([telling] * 30) > 0.1
    assert replicate_correlation([([50, 50], [100, 100])] * 30) == 0.0
    assert replicate_correlation([([0, 1], [1, 1])] * 30) == 0.02


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed: 2 or more, one total each"):
        compare_replicates([3], [5])
    with pytest.raises(ValueError, match="replicates: 2 germinated counts and 1 totals"):
        compare_replicates([3, 4], [5])
    with pytest.raises(ValueError, match="successes is 7; allowed: 0 to 5"):
        replicate_correlation([([7], [5])])
    with pytest.raises(ValueError, match="mean_percent is 101; allowed: 0 to 100"):
        tolerated_range_percent(101.0, 4, 100.0)
    with pytest.raises(ValueError, match=r"correlation is 1; allowed: 0 to 0\.999"):
        beta_binomial_log_likelihood(np.array([0.5]), 1, 2, 1.0)
    with pytest.raises(ValueError, match="viability is 2; allowed: 0 to 1"):
        beta_binomial_log_likelihood(np.array([2.0]), 1, 2, 0.02)
