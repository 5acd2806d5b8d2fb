"""Invented lots whose truth is known: does the assay model tell as much of them as it says it does?

Truths and counts come from this file's own generator and formulas, never from the model's draws.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from exchange.science.arrays import FloatArray
from exchange.science.assay import AssayUpdate, GerminationAssay, update_by_assays
from exchange.science.constants import (
    HALF_LIFE_DRIED_DAYS,
    HALF_LIFE_FRESH_DAYS,
    HALF_LIFE_FROZEN_DAYS,
    INITIAL_VIABILITY_LOW,
    INITIAL_VIABILITY_WIDE,
    REPLICATE_CORRELATION,
    SHAPE,
    LogNormalPrior,
)
from exchange.science.viability import Treatment, viability
from exchange.science.weighted import weighted_quantile

HALF_LIVES = {
    "fresh": HALF_LIFE_FRESH_DAYS,
    "dried": HALF_LIFE_DRIED_DAYS,
    "frozen": HALF_LIFE_FROZEN_DAYS,
}
TEST_AGES_DAYS = (0.0, 5.0)
LATEST_TARGET_DAYS = 30.0
REPLICATES, GRAINS = 2, 100
BINS = 20


@dataclass(frozen=True)
class LotClass:
    """Lots that share a prior."""

    treatment: Treatment
    wide_initial: bool

    @property
    def name(self) -> str:
        return f"{self.treatment} {'tropical' if self.wide_initial else 'hardy'}"


CLASSES = (
    LotClass("dried", wide_initial=False),
    LotClass("dried", wide_initial=True),
    LotClass("fresh", wide_initial=False),
    LotClass("fresh", wide_initial=True),
    LotClass("frozen", wide_initial=False),
)


@dataclass(frozen=True)
class TrueLot:
    """What nobody knows of a lot, and what was counted of it."""

    initial: float
    half_life_days: float
    shape: float
    assays: tuple[GerminationAssay, ...]

    def alive(self, age_days: float) -> float:
        """The germinable fraction at a thermal age, from the definition."""
        return true_viability(self.initial, self.half_life_days, self.shape, age_days)


@dataclass(frozen=True)
class Calibration:
    """One entry a lot: where the truth lay among the draws, and how well the draws rested."""

    rank: FloatArray
    covered: FloatArray
    effective_sample: FloatArray
    redrawn: FloatArray

    @property
    def coverage(self) -> float:
        """Share of lots whose truth lay in their 10–90 % interval."""
        return float(self.covered.mean())

    @property
    def counts(self) -> FloatArray:
        """Ranks in each of the bins."""
        return np.histogram(self.rank, bins=BINS, range=(0.0, 1.0))[0].astype(np.float64)

    @property
    def uniform_p(self) -> float:
        """Chance of ranks at least as uneven, by chi-square, were they uniform."""
        return float(stats.chisquare(self.counts).pvalue)


def true_viability(initial: float, half_life_days: float, shape: float, age_days: float) -> float:
    """v0 · exp(−(k τ)^β) with k = (ln 2)^(1/β) / half-life."""
    rate = np.log(2.0) ** (1.0 / shape) / half_life_days
    return float(initial * np.exp(-((rate * age_days) ** shape)))


def calibrate(
    lots: LotClass, count: int, seed: int, *, model_correlation: float = REPLICATE_CORRELATION.value
) -> Calibration:
    """Invent lots, count them, ask the model for one random age of each."""
    rng = np.random.default_rng(seed)
    rows = [_one(lots, rng, model_correlation) for _ in range(count)]
    return Calibration(*(np.array(column, dtype=np.float64) for column in zip(*rows, strict=True)))


def invented_lot(lots: LotClass, rng: np.random.Generator) -> TrueLot:
    """A lot of the prior, with the counts of its two tests."""
    start = INITIAL_VIABILITY_WIDE if lots.wide_initial else INITIAL_VIABILITY_LOW
    initial = float(rng.beta(start.alpha, start.beta))
    half_life, shape = (_cut_log_normal(prior, rng) for prior in (HALF_LIVES[lots.treatment], SHAPE))
    assays = tuple(
        _counted(true_viability(initial, half_life, shape, age), age, rng) for age in TEST_AGES_DAYS
    )
    return TrueLot(initial, half_life, shape, assays)


def _one(
    lots: LotClass, rng: np.random.Generator, model_correlation: float
) -> tuple[float, bool, float, bool]:
    lot, age = invented_lot(lots, rng), float(rng.uniform(0.0, LATEST_TARGET_DAYS))
    update = update_by_assays(
        lots.treatment, lot.assays, wide_initial=lots.wide_initial, correlation=model_correlation
    )
    rank, covered = _placed(update, age, lot.alive(age), rng)
    return rank, covered, update.effective_sample, update.redrawn


def _placed(update: AssayUpdate, age: float, truth: float, rng: np.random.Generator) -> tuple[float, bool]:
    alive, weight = viability(update.draws, np.array([age]))[:, 0], update.draws.weight
    tied = rng.uniform() * weight[alive == truth].sum()
    low, high = (float(weighted_quantile(alive, weight, share)) for share in (0.1, 0.9))
    return float(weight[alive < truth].sum() + tied), low <= truth <= high


def _cut_log_normal(prior: LogNormalPrior, rng: np.random.Generator) -> float:
    while True:
        value = float(rng.lognormal(np.log(prior.median), prior.sd_log))
        if prior.low <= value <= prior.high:
            return value


def _counted(alive: float, age: float, rng: np.random.Generator) -> GerminationAssay:
    precision = 1.0 / REPLICATE_CORRELATION.value - 1.0
    shares = rng.beta(max(alive * precision, 1e-300), (1.0 - alive) * precision, REPLICATES)
    germinated = [int(count) for count in rng.binomial(GRAINS, shares)]
    way = ("germination", "stigmatic fluid", "tube as long as the grain")
    return GerminationAssay(age, germinated, [GRAINS] * REPLICATES, *way)
