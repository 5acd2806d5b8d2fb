"""What counted grains say of one lot: its draws weighted anew, never a pool of different methods."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from exchange.science.arrays import FloatArray
from exchange.science.constants import (
    EFFECTIVE_SAMPLE_MINIMUM,
    LIFE_SHARPENED_RATIO,
    REPLICATE_CORRELATION,
)
from exchange.science.importance import effective_sample, normalized_weight, redraw
from exchange.science.probit import NotIdentifiedError, ProbitFit, fit_probit
from exchange.science.proportion import check_count
from exchange.science.replicate import beta_binomial_log_likelihood, check_replicates
from exchange.science.viability import (
    Treatment,
    ViabilityDraws,
    prior_draws,
    viability,
)
from exchange.science.weighted import weighted_mean, weighted_quantile


@dataclass(frozen=True)
class GerminationAssay:
    """One counted germination test of a lot.

    Parameters
    ----------
    thermal_age_days : float or FloatArray
        Age at the test, equivalent days at 4 °C, 0 or more: one number, or one for each draw (n,).
    germinated, counted : sequence of int
        Grains of each replicate.
    method, medium, rule : str
        How it was done, on what, and when a grain counts as germinated; tests that differ in any of
        them are never pooled.
    """

    thermal_age_days: float | FloatArray
    germinated: Sequence[int]
    counted: Sequence[int]
    method: str
    medium: str
    rule: str


@dataclass(frozen=True)
class StainCount:
    """One stain count of a lot: an upper bound of what germinates, not a share that does.

    Parameters
    ----------
    thermal_age_days : float or FloatArray
        As in ``GerminationAssay``.
    stained, counted : int
        Grains.
    """

    thermal_age_days: float | FloatArray
    stained: int
    counted: int


@dataclass(frozen=True)
class AssayUpdate:
    """Draws of a lot after its tests, and how well they rest on them.

    Parameters
    ----------
    draws : ViabilityDraws
        Weighted draws; column ``q10`` is that of the prior, so ages computed with it stay aligned.
    effective_sample : float
        Draws the weights are worth.
    redrawn : bool
        The prior's draws were too few near the data and were made anew.
    life_sd_ratio : float
        Spread of log half-life after the tests over before; near 1: nothing learned of the life left.
    """

    draws: ViabilityDraws
    effective_sample: float
    redrawn: bool
    life_sd_ratio: float

    @property
    def sufficient(self) -> bool:
        """False when even the new draws are worth too few: the band is rough, say so."""
        return self.effective_sample >= EFFECTIVE_SAMPLE_MINIMUM.value

    @property
    def sharpens_life(self) -> bool:
        """False after a day-0 test alone: it tells how good the lot is, not how long it lasts."""
        return self.life_sd_ratio < LIFE_SHARPENED_RATIO.value


def check_same_method(assays: Sequence[GerminationAssay]) -> None:
    """Refuse germination tests that differ in method, medium or rule.

    Parameters
    ----------
    assays : sequence of GerminationAssay
        Tests of one lot.

    Raises
    ------
    ValueError
        Naming the two ways that were mixed.
    """
    for name in ("method", "medium", "rule"):
        ways = sorted({str(getattr(assay, name)) for assay in assays})
        if len(ways) > 1:
            raise ValueError(f"{name} is {ways[0]!r} and {ways[1]!r}; allowed: tests of one {name} together.")


def _age_column(age: float | FloatArray, count: int) -> FloatArray:
    column = np.asarray(age, dtype=np.float64)
    if column.shape not in ((), (count,)):
        raise ValueError(f"thermal_age_days has shape {column.shape}; allowed: one number or ({count},).")
    return np.broadcast_to(column, (count,))[:, None]


def log_likelihood(
    draws: ViabilityDraws,
    assays: Sequence[GerminationAssay],
    stains: Sequence[StainCount] = (),
    *,
    correlation: float = REPLICATE_CORRELATION.value,
) -> FloatArray:
    """Give the log-likelihood of a lot's counts at each draw.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    assays : sequence of GerminationAssay
        Tests of one method, medium and rule.
    stains : sequence of StainCount
        Stain counts, each a soft upper bound.
    correlation : float
        Of grains in one replicate, 0 to 0.999.

    Returns
    -------
    FloatArray
        Shape (n,), natural logarithm.

    Raises
    ------
    ValueError
        If tests of different methods are mixed, or a count or an age is out of range.

    Notes
    -----
    Germination: beta-binomial for each replicate. Stain k of n: factor 1 − BetaCDF(v; k + 1, n − k + 1)
    (judgement): stains over-estimate, e.g. 88–94 % against 9–46 % in *Saintpaulia* (Buta et al. 2015,
    J. Spectrosc. 706370, abstract).
    """
    check_same_method(assays)
    count = len(draws.initial)
    total = np.zeros(count)
    for assay in assays:
        check_replicates(assay.germinated, assay.counted)
        alive = viability(draws, _age_column(assay.thermal_age_days, count))[:, 0]
        for germinated, counted in zip(assay.germinated, assay.counted, strict=True):
            total += beta_binomial_log_likelihood(alive, germinated, counted, correlation)
    for stain in stains:
        check_count(stain.stained, stain.counted)
        alive = viability(draws, _age_column(stain.thermal_age_days, count))[:, 0]
        total += stats.beta.logsf(alive, stain.stained + 1, stain.counted - stain.stained + 1)
    return total


def reweight(
    draws: ViabilityDraws,
    assays: Sequence[GerminationAssay],
    stains: Sequence[StainCount] = (),
    *,
    correlation: float = REPLICATE_CORRELATION.value,
) -> ViabilityDraws:
    """Weight draws by a lot's counts.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws with their weights before these tests.
    assays, stains, correlation
        As in ``log_likelihood``.

    Returns
    -------
    ViabilityDraws
        The same draws, weight ∝ weight · likelihood, summing to 1.

    Raises
    ------
    ValueError
        As ``log_likelihood``.
    """
    with np.errstate(divide="ignore"):
        before = np.log(draws.weight)
    gained = log_likelihood(draws, assays, stains, correlation=correlation)
    return replace(draws, weight=normalized_weight(before + gained))


def _life_sd(draws: ViabilityDraws) -> float:
    life = np.log(draws.half_life_days)
    mean = weighted_mean(life, draws.weight)
    return float(np.sqrt(weighted_mean((life - mean) ** 2, draws.weight)))


def update_by_assays(
    treatment: Treatment,
    assays: Sequence[GerminationAssay],
    stains: Sequence[StainCount] = (),
    *,
    wide_initial: bool = False,
    correlation: float = REPLICATE_CORRELATION.value,
) -> AssayUpdate:
    """Fold a lot's tests into what other plants say of it.

    Parameters
    ----------
    treatment : {"fresh", "dried", "frozen"}
        Of the lot.
    assays, stains, correlation
        As in ``log_likelihood``; all tests of the lot, every time.
    wide_initial : bool
        As in ``prior_draws``.

    Returns
    -------
    AssayUpdate
        Draws of initial viability, half-life and shape, jointly; without tests, those of the prior.

    Raises
    ------
    ValueError
        As ``log_likelihood``.

    Notes
    -----
    Importance weights (Geweke 1989, Econometrica 57:1317–1339 [memory]). Under 400 effective draws they
    are made anew once, from a normal on (logit v0, log half-life, log shape) at twice the sd, with
    corrected weights; the better of the two sets is kept.
    """
    prior = prior_draws(treatment, wide_initial=wide_initial)
    if not assays and not stains:
        return AssayUpdate(prior, float(len(prior.weight)), False, 1.0)
    log_weight = log_likelihood(prior, assays, stains, correlation=correlation)
    best = replace(prior, weight=normalized_weight(log_weight))
    reached, redrawn = effective_sample(best.weight), False
    if reached < EFFECTIVE_SAMPLE_MINIMUM.value:
        drawn, correction = redraw(prior, log_weight, treatment, wide_initial=wide_initial)
        gained = log_likelihood(drawn, assays, stains, correlation=correlation)
        again = replace(drawn, weight=normalized_weight(correction + gained))
        if effective_sample(again.weight) > reached:
            best, reached, redrawn = again, effective_sample(again.weight), True
    return AssayUpdate(best, reached, redrawn, _life_sd(best) / _life_sd(prior))


def probit_sensitivity(draws: ViabilityDraws, assays: Sequence[GerminationAssay]) -> ProbitFit | None:
    """Fit the probit curve to the same counts, to show what another shape would say.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws, for the median of ages known for each draw.
    assays : sequence of GerminationAssay
        Tests of one method, medium and rule.

    Returns
    -------
    ProbitFit or None
        The fit, in equivalent days at 4 °C; None when the counts leave it open (one age, all or none).

    Raises
    ------
    ValueError
        If tests of different methods are mixed, or a count or an age is out of range.

    Notes
    -----
    Shown beside the Weibull curve, never mixed into it.
    """
    check_same_method(assays)
    for assay in assays:
        check_replicates(assay.germinated, assay.counted)
    ages = [_age_column(assay.thermal_age_days, len(draws.weight))[:, 0] for assay in assays]
    middle = np.array([weighted_quantile(age, draws.weight, 0.5) for age in ages], dtype=np.float64)
    living = np.array([sum(assay.germinated) for assay in assays], dtype=np.float64)
    counted = np.array([sum(assay.counted) for assay in assays], dtype=np.float64)
    try:
        return fit_probit(middle, living, counted)
    except NotIdentifiedError:
        return None
