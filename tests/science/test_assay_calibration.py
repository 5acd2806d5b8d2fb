"""The assay model on invented lots whose truth is known: it covers as often as it says, no more, no less."""

import numpy as np
import pytest
from scipy import stats

from exchange.science.constants import SHAPE
from exchange.science.viability import prior_draws
from tests.science.calibration import (
    CLASSES,
    Calibration,
    LotClass,
    calibrate,
    invented_lot,
    true_viability,
)

SEED = 20261129
HARDY_DRIED = CLASSES[0]
FEW, MANY = 60, 500


@pytest.mark.slow
@pytest.mark.parametrize("lots", CLASSES, ids=lambda lots: lots.name.replace(" ", "-"))
def test_four_of_five_intervals_of_many_lots_hold_the_truth(lots: LotClass) -> None:
    found = calibrate(lots, MANY, SEED)
    assert len(found.rank) == MANY
    assert 0.75 <= found.coverage <= 0.85
    assert found.uniform_p > 0.001


@pytest.mark.slow
def test_a_model_blind_to_clumping_would_be_found_out() -> None:
    found = calibrate(HARDY_DRIED, MANY, SEED, model_correlation=0.0)
    assert found.coverage < 0.70
    assert found.uniform_p < 1e-6


def test_a_few_lots_are_covered_about_as_often_as_is_said() -> None:
    found = calibrate(HARDY_DRIED, FEW, SEED)
    # Three standard errors of 60 lots at 0.8 are 0.155.
    assert 0.645 <= found.coverage <= 0.955
    assert stats.kstest(found.rank, "uniform").pvalue > 0.001


def test_the_invented_lots_are_those_the_model_expects() -> None:
    rng = np.random.default_rng(SEED)
    lots, prior = [invented_lot(HARDY_DRIED, rng) for _ in range(2_000)], prior_draws("dried")
    for name in ("initial", "half_life_days", "shape"):
        invented = [getattr(lot, name) for lot in lots]
        assert stats.ks_2samp(invented, getattr(prior, name)).pvalue > 0.001, name
    assert all(SHAPE.low <= lot.shape <= SHAPE.high for lot in lots)


def test_the_invented_counts_clump_as_the_model_says() -> None:
    rng = np.random.default_rng(SEED)
    shares = []
    for _ in range(3_000):
        lot = invented_lot(HARDY_DRIED, rng)
        first = lot.assays[0]
        assert [each.thermal_age_days for each in lot.assays] == [0.0, 5.0]
        assert list(first.counted) == [100, 100]
        spread = lot.initial * (1.0 - lot.initial) / 100.0 * (1.0 + 99.0 * 0.02)
        if spread > 1e-4:
            shares.append((first.germinated[0] / 100.0 - lot.initial) / np.sqrt(spread))
    assert np.mean(shares) == pytest.approx(0.0, abs=0.06)
    assert np.var(shares) == pytest.approx(1.0, abs=0.1)


def test_the_true_curve_is_the_stated_one() -> None:
    assert true_viability(0.4, 10.0, 0.85, 0.0) == 0.4
    assert true_viability(0.4, 10.0, 0.85, 10.0) == pytest.approx(0.2)
    assert true_viability(0.8, 10.0, 1.0, 5.0) == pytest.approx(0.565685, abs=1e-6)


def test_coverage_and_ranks_are_counted_rightly() -> None:
    even = np.repeat((np.arange(20) + 0.5) / 20.0, 5)
    inside = (even > 0.1) & (even < 0.9)
    found = Calibration(even, inside.astype(float), np.full(100, 4000.0), np.zeros(100))
    assert found.coverage == 0.8
    assert found.counts.tolist() == [5.0] * 20
    assert found.uniform_p == pytest.approx(1.0)
    heaped = Calibration(np.full(100, 0.5), np.ones(100), np.full(100, 4000.0), np.zeros(100))
    assert heaped.uniform_p < 1e-100
