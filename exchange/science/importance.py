"""Importance weights: what they are worth, and draws made anew where the data put them."""

from dataclasses import replace

import numpy as np
from scipy import special

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import (
    REDRAW_MOMENT_SAMPLE,
    REDRAW_SD_FACTOR,
    SHAPE,
    LogNormalPrior,
)
from exchange.science.draws import uniform_column
from exchange.science.viability import (
    HALF_LIFE_PRIORS,
    Treatment,
    ViabilityDraws,
    initial_prior,
)

HALVINGS = 40


def effective_sample(weight: FloatArray) -> float:
    """Give how many equal draws a set of weights is worth.

    Parameters
    ----------
    weight : FloatArray
        Shape (n,), 0 or more.

    Returns
    -------
    float
        (Σw)² / Σw², 1 to n.

    Raises
    ------
    ValueError
        If a weight is negative or all are zero.

    References
    ----------
    Kong 1992, technical report, University of Chicago [memory].
    """
    check_range("weight", weight, 0.0, np.inf)
    if not weight.sum() > 0.0:
        raise ValueError("weight sums to 0; allowed: at least one weight above 0.")
    return float(weight.sum() ** 2 / (weight**2).sum())


def normalized_weight(log_weight: FloatArray) -> FloatArray:
    """Give weights that sum to 1 from logarithms of any size.

    Parameters
    ----------
    log_weight : FloatArray
        Shape (n,), natural logarithm, −inf allowed.

    Returns
    -------
    FloatArray
        Shape (n,), 0–1, sum 1.

    Raises
    ------
    ValueError
        If no weight is finite: the counts are impossible for every draw.
    """
    top = log_weight.max()
    if not np.isfinite(top):
        raise ValueError("germinated counts are impossible for every draw; allowed: counts of one lot.")
    weight = np.exp(log_weight - top)
    share: FloatArray = weight / weight.sum()
    return share


def _coordinates(draws: ViabilityDraws) -> FloatArray:
    return np.column_stack([special.logit(draws.initial), np.log(draws.half_life_days), np.log(draws.shape)])


def _moment_weight(log_weight: FloatArray) -> FloatArray:
    # Mean and spread of a handful of draws would put the new ones in a dot: soften the weights until
    # they rest on enough draws. The spread is then too wide, which the corrected weights forgive.
    full = normalized_weight(log_weight)
    if effective_sample(full) >= REDRAW_MOMENT_SAMPLE.value:
        return full
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        enough = effective_sample(normalized_weight(middle * log_weight)) >= REDRAW_MOMENT_SAMPLE.value
        low, high = (middle, high) if enough else (low, middle)
    return normalized_weight(low * log_weight)


def _log_normal_density(log_value: FloatArray, prior: LogNormalPrior) -> FloatArray:
    density: FloatArray = -(((log_value - np.log(prior.median)) / prior.sd_log) ** 2) / 2.0
    with np.errstate(divide="ignore"):
        outside = (log_value < np.log(prior.low)) | (log_value > np.log(prior.high))
    return np.where(outside, -np.inf, density)


def redraw(
    prior: ViabilityDraws, log_weight: FloatArray, treatment: Treatment, *, wide_initial: bool = False
) -> tuple[ViabilityDraws, FloatArray]:
    """Make a lot's draws anew where its counts put them.

    Parameters
    ----------
    prior : ViabilityDraws
        Draws of the prior, shape (draws,).
    log_weight : FloatArray
        Shape (draws,), log-likelihood of the counts at those draws.
    treatment : {"fresh", "dried", "frozen"}
        Of the lot.
    wide_initial : bool
        As in ``prior_draws``.

    Returns
    -------
    tuple
        Draws with equal weights, ``q10`` as in ``prior``; and, shape (draws,), the logarithm of prior
        density over density drawn from (up to a constant), to be added to their log-likelihood.

    Raises
    ------
    ValueError
        If no weight is finite.

    Notes
    -----
    A normal on (logit v0, log half-life, log shape) with the weighted mean and twice the weighted sd.
    """
    weight, points = _moment_weight(log_weight), _coordinates(prior)
    mean = weight @ points
    covariance = (weight[:, None] * (points - mean)).T @ (points - mean)
    spread = REDRAW_SD_FACTOR.value * np.linalg.cholesky(covariance)
    names = ("initial_viability", "half_life", "shape")
    score = special.ndtri(np.column_stack([uniform_column(name) for name in names]))
    place = mean + score @ spread.T
    drawn = replace(
        prior,
        initial=special.expit(place[:, 0]),
        half_life_days=np.exp(place[:, 1]),
        shape=np.exp(place[:, 2]),
        weight=np.full(len(place), 1.0 / len(place)),
    )
    start = initial_prior(wide_initial=wide_initial)
    # The density of logit(v0) carries v0 (1 − v0) of the change of variable.
    log_prior = start.alpha * special.log_expit(place[:, 0]) + start.beta * special.log_expit(-place[:, 0])
    log_prior += _log_normal_density(place[:, 1], HALF_LIFE_PRIORS[treatment])
    log_prior += _log_normal_density(place[:, 2], SHAPE)
    return drawn, log_prior + (score**2).sum(axis=1) / 2.0
