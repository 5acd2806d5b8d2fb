"""How much of a lot's pollen still germinates at a thermal age, with what is not known about it."""

from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_positive, check_range
from exchange.science.constants import (
    HALF_LIFE_DRIED_DAYS,
    HALF_LIFE_FRESH_DAYS,
    HALF_LIFE_FROZEN_DAYS,
    INITIAL_VIABILITY_LOW,
    INITIAL_VIABILITY_WIDE,
    Q10,
    SHAPE,
    BetaPrior,
    LogNormalPrior,
)
from exchange.science.draws import uniform_column

Treatment = Literal["fresh", "dried", "frozen"]
TREATMENTS: tuple[str, ...] = get_args(Treatment)
HALF_LIFE_PRIORS: dict[str, LogNormalPrior] = {
    "fresh": HALF_LIFE_FRESH_DAYS,
    "dried": HALF_LIFE_DRIED_DAYS,
    "frozen": HALF_LIFE_FROZEN_DAYS,
}


@dataclass(frozen=True)
class ViabilityDraws:
    """Weighted draws of a lot's parameters.

    Parameters
    ----------
    initial : FloatArray
        Shape (n,), germinable fraction when the anthers were cut, 0–1.
    half_life_days : FloatArray
        Shape (n,), equivalent days at 4 °C until half of ``initial`` is left.
    shape : FloatArray
        Shape (n,), Weibull shape; below 1 the losses come early.
    q10 : FloatArray
        Shape (n,), factor by which ageing quickens for 10 K.
    weight : FloatArray
        Shape (n,), sums to 1.
    """

    initial: FloatArray
    half_life_days: FloatArray
    shape: FloatArray
    q10: FloatArray
    weight: FloatArray

    @property
    def decay_per_day(self) -> FloatArray:
        """Rate at 4 °C, shape (n,), per day: (ln 2)^(1/shape) / half-life."""
        rate: FloatArray = np.log(2.0) ** (1.0 / self.shape) / self.half_life_days
        return rate


def log_normal_quantile(prior: LogNormalPrior, probability: FloatArray) -> FloatArray:
    """Give quantiles of a log-normal cut to its range.

    Parameters
    ----------
    prior : LogNormalPrior
        Median, sd of the natural logarithm, and range.
    probability : FloatArray
        Any shape, 0–1.

    Returns
    -------
    FloatArray
        Shape of ``probability``, in the prior's unit.
    """
    with np.errstate(divide="ignore"):
        edges = (np.log([prior.low, prior.high]) - np.log(prior.median)) / prior.sd_log
    low, high = special.ndtr(edges)
    score = special.ndtri(low + (high - low) * probability)
    quantile: FloatArray = prior.median * np.exp(prior.sd_log * score)
    return quantile


def initial_prior(*, wide_initial: bool = False) -> BetaPrior:
    """Give the prior of the germinable fraction at cutting.

    Parameters
    ----------
    wide_initial : bool
        True for tropical water lilies outside *Anecphya*.

    Returns
    -------
    BetaPrior
        Distribution of a fraction, 0–1.
    """
    return INITIAL_VIABILITY_WIDE if wide_initial else INITIAL_VIABILITY_LOW


@cache
def _prior_draws(treatment: str, wide_initial: bool) -> ViabilityDraws:
    initial = initial_prior(wide_initial=wide_initial)
    columns = (
        stats.beta.ppf(uniform_column("initial_viability"), initial.alpha, initial.beta),
        log_normal_quantile(HALF_LIFE_PRIORS[treatment], uniform_column("half_life")),
        log_normal_quantile(SHAPE, uniform_column("shape")),
        log_normal_quantile(Q10, uniform_column("q10")),
    )
    count = len(columns[0])
    arrays = tuple(np.asarray(column, dtype=np.float64) for column in (*columns, np.full(count, 1.0 / count)))
    for array in arrays:
        array.flags.writeable = False
    return ViabilityDraws(*arrays)


def prior_draws(treatment: Treatment, *, wide_initial: bool = False) -> ViabilityDraws:
    """Draw the parameters of a lot nobody has tested.

    Parameters
    ----------
    treatment : {"fresh", "dried", "frozen"}
        ``fresh`` stamens chilled, ``dried`` and chilled, or dried and ``frozen``.
    wide_initial : bool
        True for tropical water lilies outside *Anecphya*: any initial viability is as likely.

    Returns
    -------
    ViabilityDraws
        Arrays of shape (draws,), equal weights, read-only.

    Raises
    ------
    ValueError
        If ``treatment`` is none of the three.

    Notes
    -----
    No storage series of *Nymphaea* pollen was found; the priors rest on other plants, mainly apple:
    Ćalić et al. 2021, Front. Plant Sci. 12:709231, table 2.
    """
    check_choice("treatment", treatment, TREATMENTS)
    return _prior_draws(treatment, wide_initial)


def fraction_left(age_days: ArrayLike, half_life_days: ArrayLike, shape: ArrayLike) -> FloatArray:
    """Give the share of the initial viability left at an age, by the Weibull curve.

    Parameters
    ----------
    age_days : array_like
        Days (or any one unit of time), 0 or more.
    half_life_days : array_like
        Same unit, above 0.
    shape : array_like
        Above 0; 1 is first-order decay.

    Returns
    -------
    FloatArray
        Broadcast shape of the inputs, 0–1.

    Raises
    ------
    ValueError
        If an age is negative, or a half-life or shape is not above 0.

    Notes
    -----
    exp(−(k τ)^shape) with k = (ln 2)^(1/shape) / half-life. The power of ln 2 is undone by the shape,
    so it is written as exp(−ln 2 · (τ / half-life)^shape): k is applied once, inside.
    """
    check_range("age_days", age_days, 0.0, np.inf)
    check_positive("half_life_days", half_life_days)
    check_positive("shape", shape)
    left: FloatArray = np.exp2(-((np.asarray(age_days) / half_life_days) ** np.asarray(shape)))
    return left


def age_at_fraction(fraction: ArrayLike, half_life_days: ArrayLike, shape: ArrayLike) -> FloatArray:
    """Give the age at which a share of the initial viability is left; inverse of ``fraction_left``.

    Parameters
    ----------
    fraction : array_like
        Share left, 0–1 (0 is never reached: infinite).
    half_life_days : array_like
        Days, above 0.
    shape : array_like
        Above 0.

    Returns
    -------
    FloatArray
        Broadcast shape of the inputs, days.

    Raises
    ------
    ValueError
        If a fraction is outside 0–1, or a half-life or shape is not above 0.
    """
    check_range("fraction", fraction, 0.0, 1.0)
    check_positive("half_life_days", half_life_days)
    check_positive("shape", shape)
    with np.errstate(divide="ignore"):
        halvings = np.abs(np.log2(np.asarray(fraction, dtype=np.float64)))
    age: FloatArray = np.asarray(half_life_days, dtype=np.float64) * halvings ** (1.0 / np.asarray(shape))
    return age


def remaining_fraction(draws: ViabilityDraws, thermal_age_days: FloatArray) -> FloatArray:
    """Give v/v0, the share of each draw's initial viability that is left.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    thermal_age_days : FloatArray
        Equivalent days at 4 °C, 0 or more: shape (k,) for ages common to all draws, or (n, k) for
        ages of each draw. One age of each draw is a column (n, 1), not (n,).

    Returns
    -------
    FloatArray
        Shape (n, k), 0–1.

    Raises
    ------
    ValueError
        If an age is negative or not a number.

    Notes
    -----
    Weibull curve, see ``fraction_left``; half-lives differ between plants by one to two orders of
    magnitude and none is known for *Nymphaea*.
    """
    check_range("thermal_age_days", thermal_age_days, 0.0, np.inf)
    ages = np.atleast_1d(np.asarray(thermal_age_days, dtype=np.float64))
    left: FloatArray = np.exp2(-((ages / draws.half_life_days[:, None]) ** draws.shape[:, None]))
    return left


def viability(draws: ViabilityDraws, thermal_age_days: FloatArray) -> FloatArray:
    """Give the germinable fraction of a lot at thermal ages.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    thermal_age_days : FloatArray
        Equivalent days at 4 °C, shape (k,) or (n, k), as in ``remaining_fraction``.

    Returns
    -------
    FloatArray
        Shape (n, k), 0–1.

    Raises
    ------
    ValueError
        If an age is negative or not a number.
    """
    return draws.initial[:, None] * remaining_fraction(draws, thermal_age_days)
