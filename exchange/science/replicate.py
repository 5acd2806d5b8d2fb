"""Do the replicates of one germination test agree, and how far do grains go together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import (
    REPLICATE_CORRELATION,
    REPLICATE_TOLERANCE_SIGNIFICANCE,
    REPLICATED_ASSAYS_NEEDED,
)
from exchange.science.proportion import check_count

Replicates = tuple[Sequence[int], Sequence[int]]


@dataclass(frozen=True)
class ReplicateComparison:
    """Range of the replicates of one test, in points of per cent, against what chance allows."""

    mean_percent: float
    range_percent: float
    tolerated_percent: float

    @property
    def agree(self) -> bool:
        """True when the range is below the tolerated one (or nil)."""
        return self.range_percent == 0.0 or self.range_percent < self.tolerated_percent


def check_replicates(germinated: Sequence[int], counted: Sequence[int], *, least: int = 1) -> None:
    """Refuse replicates that are not pairs of germinated and counted grains.

    Parameters
    ----------
    germinated, counted : sequence of int
        Grains of each replicate, same length.
    least : int
        Fewest replicates allowed.

    Raises
    ------
    ValueError
        Naming what is out of range.
    """
    if len(germinated) != len(counted) or len(counted) < least:
        raise ValueError(
            f"replicates: {len(germinated)} germinated counts and {len(counted)} totals; "
            f"allowed: {least} or more, one total each."
        )
    for successes, total in zip(germinated, counted, strict=True):
        check_count(successes, total)


def tolerated_range_percent(
    mean_percent: float,
    replicate_count: int,
    grains_per_replicate: float,
    *,
    significance: float = REPLICATE_TOLERANCE_SIGNIFICANCE.value,
) -> float:
    """Give the range between replicates that chance alone exceeds with a stated probability.

    Parameters
    ----------
    mean_percent : float
        Mean germination, 0–100 %.
    replicate_count : int
        2 to 100.
    grains_per_replicate : float
        1 or more.
    significance : float
        0.001 to 0.5; 0.025 reproduces the seed rule's table.

    Returns
    -------
    float
        Points of per cent, not rounded.

    Raises
    ------
    ValueError
        If an input is out of range.

    References
    ----------
    Miles 1963, quoted by da Silva 2020, Seed Sci. Res.; table of 7 CFR 201.55, met within one point.
    """
    check_range("mean_percent", mean_percent, 0.0, 100.0)
    check_range("replicate_count", replicate_count, 2, 100)
    check_range("grains_per_replicate", grains_per_replicate, 1.0, np.inf)
    check_range("significance", significance, 0.001, 0.5)
    quantile = stats.studentized_range.ppf(1.0 - significance, replicate_count, np.inf)
    share = mean_percent / 100.0
    return 100.0 * float(quantile) * float(np.sqrt(share * (1.0 - share) / grains_per_replicate))


def compare_replicates(germinated: Sequence[int], counted: Sequence[int]) -> ReplicateComparison:
    """Compare the replicates of one germination test.

    Parameters
    ----------
    germinated, counted : sequence of int
        Grains of each replicate, two replicates or more.

    Returns
    -------
    ReplicateComparison
        Mean, range and tolerated range, points of per cent.

    Raises
    ------
    ValueError
        If there are fewer than two replicates or a count is out of range.

    Notes
    -----
    Replicates of unequal size are taken at the harmonic mean of their sizes (judgement).
    """
    check_replicates(germinated, counted, least=2)
    grains, totals = np.asarray(germinated, dtype=np.float64), np.asarray(counted, dtype=np.float64)
    percent = 100.0 * grains / totals
    mean, size = 100.0 * float(grains.sum() / totals.sum()), len(totals) / float((1.0 / totals).sum())
    return ReplicateComparison(mean, float(np.ptp(percent)), tolerated_range_percent(mean, len(totals), size))


def beta_binomial_log_likelihood(
    viability: FloatArray, germinated: int, counted: int, correlation: float
) -> FloatArray:
    """Give the log-likelihood of one replicate at each draw's viability.

    Parameters
    ----------
    viability : FloatArray
        Shape (n,), germinable fraction, 0–1.
    germinated, counted : int
        Grains of the replicate.
    correlation : float
        Of grains in one replicate, 0 to 0.999; 0 is the binomial.

    Returns
    -------
    FloatArray
        Shape (n,), natural logarithm; −inf where the count is impossible.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    check_range("viability", viability, 0.0, 1.0)
    check_count(germinated, counted)
    check_range("correlation", correlation, 0.0, 0.999)
    if correlation == 0.0:
        return np.asarray(stats.binom.logpmf(germinated, counted, viability), dtype=np.float64)
    precision = (1.0 - correlation) / correlation
    # A viability that underflowed to 0 must stay a very unlikely count, not a division by zero.
    share = np.clip(viability, 1e-300, 1.0 - 2.0**-53)
    alpha, beta = share * precision, (1.0 - share) * precision
    ways = -np.log1p(counted) - special.betaln(germinated + 1, counted - germinated + 1)
    # Written out: as alpha and beta sum to one number, two of the six terms are no arrays.
    grown = special.gammaln(germinated + alpha) - special.gammaln(alpha)
    dead = special.gammaln(counted - germinated + beta) - special.gammaln(beta)
    all_of_them = special.gammaln(counted + precision) - special.gammaln(precision)
    likelihood: FloatArray = ways + grown + dead - all_of_them
    return likelihood


def replicate_correlation(assays: Sequence[Replicates]) -> float:
    """Estimate the correlation of grains in one replicate, once enough tests had replicates.

    Parameters
    ----------
    assays : sequence of (germinated, counted)
        Replicates of each test; tests with one replicate or a mean of 0 or all tell nothing.

    Returns
    -------
    float
        0 to 0.999; the default 0.02 (judgement) while fewer than 30 tests tell something.

    Raises
    ------
    ValueError
        If a count is out of range.

    Notes
    -----
    Moments: Pearson's chi-square of the replicates within a test has mean
    (m − 1)(1 + (size − 1) · correlation); summed over tests and solved (own derivation for equal sizes).
    """
    square, expected, slope, informative = 0.0, 0.0, 0.0, 0
    for germinated, counted in assays:
        check_replicates(germinated, counted)
        grains, totals = np.asarray(germinated, dtype=np.float64), np.asarray(counted, dtype=np.float64)
        mean = grains.sum() / totals.sum()
        if len(totals) < 2 or not 0.0 < mean < 1.0:
            continue
        square += float(((grains - totals * mean) ** 2 / (totals * mean * (1.0 - mean))).sum())
        expected += len(totals) - 1
        slope += (len(totals) - 1) * (float(totals.mean()) - 1.0)
        informative += 1
    if informative < REPLICATED_ASSAYS_NEEDED.value or slope == 0.0:
        return REPLICATE_CORRELATION.value
    return float(np.clip((square - expected) / slope, 0.0, 0.999))
