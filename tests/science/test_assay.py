from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from exchange.science.arrays import FloatArray
from exchange.science.assay import (
    GerminationAssay,
    StainCount,
    log_likelihood,
    probit_sensitivity,
    reweight,
    update_by_assays,
)
from exchange.science.constants import SHAPE
from exchange.science.probit import fit_probit
from exchange.science.thermal_age import constant_temperature_age
from exchange.science.viability import ViabilityDraws, prior_draws, viability
from exchange.science.weighted import weighted_mean, weighted_quantile


def assay(age: float | FloatArray, germinated: Sequence[int], **way: str) -> GerminationAssay:
    names = {"method": "germination", "medium": "stigmatic fluid", "rule": "tube longer than grain"} | way
    return GerminationAssay(age, germinated, [100] * len(germinated), **names)


def band(draws: ViabilityDraws, age: float) -> FloatArray:
    alive = viability(draws, np.array([age]))[:, 0]
    return np.array([weighted_quantile(alive, draws.weight, share) for share in (0.1, 0.5, 0.9)])


FIRST, SECOND = assay(0.0, [30, 30]), assay(5.0, [15, 15])


def test_two_tests_of_a_fresh_hardy_lot_narrow_both_bands_round_the_counts() -> None:
    one, two = update_by_assays("fresh", [FIRST]), update_by_assays("fresh", [FIRST, SECOND])
    at_start, later = band(two.draws, 0.0), band(two.draws, 5.0)
    assert at_start[0] < 0.30 < at_start[2]
    assert later[0] < 0.15 < later[2]
    assert np.ptp(at_start) < np.ptp(band(one.draws, 0.0))
    assert np.ptp(later) < np.ptp(band(one.draws, 5.0))
    assert two.sufficient
    assert two.sharpens_life


def _grid_posterior(assays: Sequence[GerminationAssay], half_life: float) -> tuple[FloatArray, FloatArray]:
    """Means and sds of v(0), v(5) and log half-life by brute force on a grid, from the definitions."""
    initial = (np.arange(90) + 0.5) / 90.0
    life = np.log(half_life) + 0.82 * np.linspace(-4.0, 4.0, 100)
    log_shape = np.linspace(np.log(SHAPE.low), np.log(SHAPE.high), 60)
    v0, log_life, shape = np.meshgrid(initial, life, np.exp(log_shape), indexing="ij")
    total = stats.beta.logpdf(v0, 1.2, 4.0) - (((log_life - np.log(half_life)) / 0.82) ** 2) / 2.0
    total -= ((np.log(shape) - np.log(0.85)) / 0.26) ** 2 / 2.0
    curves = {age: v0 * 0.5 ** ((age / np.exp(log_life)) ** shape) for age in (0.0, 5.0)}
    for test in assays:
        alive = v0 * 0.5 ** ((float(np.asarray(test.thermal_age_days)) / np.exp(log_life)) ** shape)
        for k, n in zip(test.germinated, test.counted, strict=True):
            total += stats.betabinom.logpmf(k, n, np.maximum(alive * 49.0, 1e-290), (1.0 - alive) * 49.0)
    weight = np.exp(total - total.max())
    weight /= weight.sum()
    found = [curves[0.0], curves[5.0], log_life]
    means = np.array([(weight * column).sum() for column in found])
    spreads = [np.sqrt((weight * (c - m) ** 2).sum()) for c, m in zip(found, means, strict=True)]
    return means, np.array(spreads)


@pytest.mark.parametrize(
    ("assays", "redrawn"),
    [
        ([], False),
        ([FIRST], False),
        ([FIRST, SECOND], False),
        ([assay(5.0, [40, 44, 41])], True),
        ([assay(0.0, [55, 60, 58]), assay(2.0, [44, 48, 45]), assay(6.0, [20, 24, 22])], True),
        ([assay(0.0, [0, 0, 0])], True),
    ],
    ids=["none", "day-0", "two", "late-only", "three-ages", "nothing-germinated"],
)
def test_update_agrees_with_brute_force_on_a_grid(assays: list[GerminationAssay], redrawn: bool) -> None:
    update = update_by_assays("fresh", assays)
    draws = update.draws
    columns = (*viability(draws, np.array([0.0, 5.0])).T, np.log(draws.half_life_days))
    means = np.array([weighted_mean(column, draws.weight) for column in columns])
    spreads = [
        np.sqrt(weighted_mean((column - mean) ** 2, draws.weight))
        for column, mean in zip(columns, means, strict=True)
    ]
    expected, spread = _grid_posterior(assays, 5.0)
    assert update.redrawn is redrawn
    assert update.sufficient
    assert np.abs(means - expected).max() < 0.03
    assert np.abs(means - expected)[:2].max() < 0.006
    assert spreads == pytest.approx(spread, rel=0.1, abs=0.002)


def test_a_day_nought_test_alone_says_nothing_of_the_life_left() -> None:
    update = update_by_assays("dried", [FIRST])
    assert not update.sharpens_life
    assert update.life_sd_ratio == pytest.approx(1.0, abs=0.05)


def test_without_tests_the_prior_stands() -> None:
    update = update_by_assays("dried", [])
    assert np.allclose(update.draws.weight, 1.0 / 4000.0, rtol=1e-12)
    assert not update.redrawn
    assert update.effective_sample == pytest.approx(4000.0)


def test_counts_no_draw_comes_near_are_said_to_be_thin() -> None:
    # Nearly all grains alive after thirty equivalent days undried: far from what other plants do.
    update = update_by_assays("fresh", [assay(0.0, [98, 97, 98]), assay(30.0, [98, 97, 98])])
    assert update.redrawn
    assert not update.sufficient


def test_order_of_tests_and_of_replicates_is_nothing() -> None:
    forward = update_by_assays("fresh", [FIRST, assay(5.0, [12, 18])])
    backward = update_by_assays("fresh", [assay(5.0, [18, 12]), FIRST])
    assert forward.draws.weight == pytest.approx(backward.draws.weight, rel=1e-9)


def test_reweighting_twice_is_reweighting_by_both() -> None:
    prior = prior_draws("fresh")
    step = reweight(reweight(prior, [FIRST]), [SECOND])
    assert step.weight == pytest.approx(reweight(prior, [FIRST, SECOND]).weight, rel=1e-9)


def test_each_draw_is_tested_at_its_own_age() -> None:
    prior = prior_draws("dried", wide_initial=True)
    warm = constant_temperature_age(3.0, 24.0, prior.q10)[:, 0]
    update = update_by_assays("dried", [FIRST, assay(warm, [29, 29])], wide_initial=True)
    # Hardly any loss after three warm days: slow ageing at 24 °C, so the low Q10 gain weight.
    assert float(weighted_mean(update.draws.q10, update.draws.weight)) < float(
        weighted_mean(prior.q10, prior.weight)
    )
    assert np.array_equal(update.draws.q10, prior.q10)


def test_clumped_grains_weigh_less_than_independent_ones() -> None:
    loose = update_by_assays("fresh", [FIRST], correlation=0.0)
    clumped = update_by_assays("fresh", [FIRST], correlation=0.1)
    assert np.ptp(band(loose.draws, 0.0)) < np.ptp(band(clumped.draws, 0.0))


def test_a_stain_bounds_from_above_and_never_from_below() -> None:
    prior = prior_draws("fresh", wide_initial=True)
    plain = band(prior, 0.0)
    stained = band(update_by_assays("fresh", [], [StainCount(0.0, 60, 200)], wide_initial=True).draws, 0.0)
    assert stained[2] < 0.36 < plain[2]
    assert stained[0] < plain[0]
    full = band(update_by_assays("fresh", [], [StainCount(0.0, 200, 200)], wide_initial=True).draws, 0.0)
    assert full == pytest.approx(plain, abs=0.01)


def test_stain_factor_is_the_stated_one() -> None:
    prior = prior_draws("fresh")
    factor = np.exp(log_likelihood(prior, [], [StainCount(2.0, 40, 100)]))
    alive = viability(prior, np.array([2.0]))[:, 0]
    assert factor == pytest.approx(1.0 - stats.beta.cdf(alive, 41, 61), abs=1e-12)


@pytest.mark.parametrize("name", ["method", "medium", "rule"])
def test_different_ways_of_testing_are_never_pooled(name: str) -> None:
    other = assay(5.0, [15, 15], **{name: "another"})
    for pool in (
        lambda: update_by_assays("fresh", [FIRST, other]),
        lambda: reweight(prior_draws("fresh"), [FIRST, other]),
        lambda: probit_sensitivity(prior_draws("fresh"), [FIRST, other]),
    ):
        with pytest.raises(
            ValueError, match=f"{name} is '.*' and '.*'; allowed: tests of one {name} together"
        ):
            pool()


def test_probit_sensitivity_is_the_fit_to_the_pooled_replicates_or_nothing() -> None:
    prior = prior_draws("fresh")
    fit = probit_sensitivity(prior, [FIRST, SECOND])
    expected = fit_probit(np.array([0.0, 5.0]), np.array([60.0, 30.0]), np.array([200.0, 200.0]))
    assert fit is not None
    assert (fit.intercept, fit.slope) == (expected.intercept, expected.slope)
    assert probit_sensitivity(prior, [FIRST]) is None
    assert probit_sensitivity(prior, []) is None
    assert probit_sensitivity(prior, [assay(0.0, [0, 0]), assay(5.0, [0, 0])]) is None


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="successes is 101; allowed: 0 to 100"):
        update_by_assays("fresh", [assay(0.0, [101])])
    with pytest.raises(ValueError, match="thermal_age_days is -1; allowed: 0 to inf"):
        update_by_assays("fresh", [assay(-1.0, [10])])
    with pytest.raises(
        ValueError, match=r"thermal_age_days has shape \(3,\); allowed: one number or \(4000,\)"
    ):
        update_by_assays("fresh", [assay(np.zeros(3), [10])])
    with pytest.raises(ValueError, match="0 germinated counts and 0 totals; allowed: 1 or more"):
        update_by_assays("fresh", [assay(0.0, [])])
    with pytest.raises(ValueError, match="successes is 5; allowed: 0 to 4"):
        update_by_assays("fresh", [], [StainCount(0.0, 5, 4)])
