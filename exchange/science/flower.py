"""Flowers day by day: new flowers are Poisson within a window; each is female first, then male.

A rate is the expected number of new (first-day) flowers of a plant on one day. A flower is receptive on
its first day and sheds pollen on the ``pollen_days`` that follow. Closed forms; the engine itself
averages over scenarios (``bloom_scenario``), and these functions hold it to account.
"""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.constants import GammaPrior
from exchange.science.season_statistic import Normal

RATE_MAXIMUM = 1e4
DAYS_MAXIMUM = 3660.0


def rate_prior(group: str, diel: str) -> GammaPrior:
    """Give the prior of new flowers per crown and day (see ``exchange.science.constants``).

    Parameters
    ----------
    group : str
        One of ``exchange.science.group.GROUPS``.
    diel : str
        ``day`` or ``night``; it matters for the tropical groups only.

    Returns
    -------
    GammaPrior
        Shape (flowers) and exposure (crown days).
    """
    own = {
        "hardy": constants.RATE_HARDY,
        "victoria": constants.RATE_VICTORIA,
        "nelumbo": constants.RATE_NELUMBO,
    }
    tropical = constants.RATE_NIGHT_TROPICAL if diel == "night" else constants.RATE_DAY_TROPICAL
    return own.get(group, tropical)


def flowers_probability(rate_per_day: float, days: float, *, least: int = 1) -> float:
    """Chance of at least ``least`` first-day flowers in a number of window days.

    Parameters
    ----------
    rate_per_day : float
        New flowers per day, 0–10 000.
    days : float
        Window days, 0–3660.
    least : int
        Flowers asked for, 0–1000.

    Returns
    -------
    float
        0–1; for one flower 1 − exp(−rL).

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Upper tail of Poisson(rL) [definition].
    """
    check_range("rate_per_day", rate_per_day, 0.0, RATE_MAXIMUM)
    check_range("days", days, 0.0, DAYS_MAXIMUM)
    check_range("least", least, 0, 1000)
    return 1.0 if least == 0 else float(special.gammainc(least, rate_per_day * days))


def evenly_flowering_probability(rate_per_day: float, days: float) -> float:
    """Chance of a first-day flower in ``days`` when a crown opens one exactly every 1/r days: min(1, rL).

    The Poisson model is the more cautious of the two; the pages show this one beside it.
    """
    check_range("rate_per_day", rate_per_day, 0.0, RATE_MAXIMUM)
    check_range("days", days, 0.0, DAYS_MAXIMUM)
    return min(1.0, rate_per_day * days)


def days_for_probability(rate_per_day: float, probability: float) -> int:
    """Whole window days needed for a first-day flower with this chance (0–0.999999)."""
    check_positive("rate_per_day", rate_per_day)
    check_range("probability", probability, 0.0, 0.999999)
    return math.ceil(-math.log1p(-probability) / rate_per_day)


def shedding_rate(daily_rate: FloatArray, *, pollen_days: int) -> FloatArray:
    """Expected number of flowers that shed pollen on each day.

    Parameters
    ----------
    daily_rate : FloatArray
        (..., days) new flowers on each day; days before the first one count as 0.
    pollen_days : int
        Days a flower sheds after its first, D, 1–13.

    Returns
    -------
    FloatArray
        (..., days) r(d−1) + … + r(d−D).

    Raises
    ------
    ValueError
        If a rate or ``pollen_days`` is out of range.

    References
    ----------
    *N. odorata*: stigma on day 1, pollen on days 2–3, Schneider & Chaney 1981, doi 10.2307/3671112
    [abstract].
    """
    check_range("pollen_days", pollen_days, 1, 13)
    return _sum_of_previous(daily_rate, range(1, pollen_days + 1))


def pollen_probability(daily_rate: FloatArray, *, pollen_days: int) -> FloatArray:
    """Chance (..., days) that at least one flower sheds pollen on a day; see ``shedding_rate``."""
    return -np.expm1(-shedding_rate(daily_rate, pollen_days=pollen_days))


def receptive_probability(daily_rate: FloatArray) -> FloatArray:
    """Chance (..., days) of at least one receptive (first-day) flower on a day: 1 − exp(−r)."""
    return -np.expm1(-_sum_of_previous(daily_rate, range(1)))


def open_flower_probability(daily_rate: FloatArray, *, pollen_days: int) -> FloatArray:
    """Chance (..., days) of any open flower, female or male, on a day (``pollen_days`` 1–13)."""
    check_range("pollen_days", pollen_days, 1, 13)
    return -np.expm1(-_sum_of_previous(daily_rate, range(pollen_days + 1)))


def no_pollen_probability(rate_per_day: float, days: int, *, pollen_days: int) -> float:
    """Chance of no pollen at all on ``days`` successive days inside the window.

    Parameters
    ----------
    rate_per_day : float
        New flowers per day, 0–10 000.
    days : int
        Successive days L, 1–3660, all with their ``pollen_days`` predecessors inside the window.
    pollen_days : int
        Days a flower sheds, D, 1–13.

    Returns
    -------
    float
        exp(−r(L + D − 1)), 0–1. Not the product of the days' chances exp(−rDL): one flower sheds on
        several of the days.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    check_range("rate_per_day", rate_per_day, 0.0, RATE_MAXIMUM)
    check_range("days", days, 1, DAYS_MAXIMUM)
    check_range("pollen_days", pollen_days, 1, 13)
    return math.exp(-rate_per_day * (days + pollen_days - 1))


def thinned_probability(daily_rate: ArrayLike, viability: ArrayLike, *, success: float) -> float:
    """Chance that at least one flower is pollinated with success, each on its own.

    Parameters
    ----------
    daily_rate : array_like
        (days,) new flowers on each day.
    viability : array_like
        () or (days,) viability of the pollen on that day, 0–1.
    success : float
        Success of one flower with living pollen, 0–1.

    Returns
    -------
    float
        1 − exp(−s Σ r v), 0–1.

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Thinning of a Poisson process [definition].
    """
    check_range("daily_rate", daily_rate, 0.0, RATE_MAXIMUM)
    check_range("viability", viability, 0.0, 1.0)
    check_range("success", success, 0.0, 1.0)
    rate = np.atleast_1d(np.asarray(daily_rate, dtype=np.float64))
    return -math.expm1(-success * float((rate * np.asarray(viability, dtype=np.float64)).sum()))


def inside_probability(start: Normal, end: Normal, day: ArrayLike) -> FloatArray:
    """Chance (n,) that whole days lie in an uncertain window: P(S ≤ d)·P(E ≥ d), S and E independent.

    This is the chance of one day only; days share S and E and must not be multiplied together.
    """
    check_positive("sd", [start.sd, end.sd])
    number = np.atleast_1d(np.asarray(day, dtype=np.float64))
    begun = special.ndtr((number - start.mean) / start.sd)
    return np.asarray(begun * special.ndtr((end.mean - number) / end.sd), dtype=np.float64)


def expected_window_days(start: Normal, end: Normal, first_day: int, last_day: int) -> float:
    """Expected number of days of ``first_day``…``last_day`` that lie in an uncertain window."""
    _check_span(first_day, last_day)
    return float(inside_probability(start, end, np.arange(first_day, last_day + 1)).sum())


def uncertain_window_probability(
    start: Normal,
    end: Normal,
    first_day: int,
    last_day: int,
    *,
    rate_per_day: float,
    day_weight: FloatArray | None = None,
) -> float:
    """Exact chance of a first-day flower between two days when the window itself is uncertain.

    Parameters
    ----------
    start, end : Normal
        First and last bloom, d, independent, sd above 0.
    first_day, last_day : int
        Days asked for, both included.
    rate_per_day : float
        New flowers per day inside the window, known, 0–10 000.
    day_weight : FloatArray, optional
        (days,) weight of a flower on each day (viability × success), 0–1; 1 if not given.

    Returns
    -------
    float
        0–1. Sum over the day on which the window opens and the day on which it closes; the obvious
        1 − exp(−expected flowers) is too high, because all days share S and E.

    Raises
    ------
    ValueError
        If a number is out of range or the days are reversed.
    """
    check_range("rate_per_day", rate_per_day, 0.0, RATE_MAXIMUM)
    chance, exposure = _window_cases(start, end, first_day, last_day, day_weight)
    return 1.0 - float((chance * np.exp(-rate_per_day * exposure)).sum())


def uncertain_window_and_rate_probability(
    start: Normal,
    end: Normal,
    first_day: int,
    last_day: int,
    *,
    rate_shape: float,
    rate_exposure_days: float,
    day_weight: FloatArray | None = None,
) -> float:
    """Exact chance of a first-day flower when neither the window nor the rate is known.

    Parameters
    ----------
    start, end, first_day, last_day, day_weight
        As in ``uncertain_window_probability``.
    rate_shape, rate_exposure_days : float
        Gamma of the rate, above 0; exposure in d.

    Returns
    -------
    float
        0–1, with E[exp(−rL)] = (θ/(θ + L))^k for each opening and closing day.

    Raises
    ------
    ValueError
        If a number is out of range or the days are reversed.
    """
    check_positive("rate_shape", rate_shape)
    check_positive("rate_exposure_days", rate_exposure_days)
    chance, exposure = _window_cases(start, end, first_day, last_day, day_weight)
    return 1.0 - float((chance * (1.0 + exposure / rate_exposure_days) ** -rate_shape).sum())


def updated_rate(prior: GammaPrior, *, flowers: int, crown_days: float) -> tuple[float, float]:
    """Update the Gamma of the rate by a count: shape + flowers, exposure + watched crown days.

    Parameters
    ----------
    prior : GammaPrior
        Rate per crown and day.
    flowers : int
        New flowers counted, 0 or more.
    crown_days : float
        Watched days × crowns, 0 or more; only days inside the window count.

    Returns
    -------
    tuple of float
        Shape and exposure (d).

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Gamma-Poisson conjugacy [definition].
    """
    check_range("flowers", flowers, 0, 1e6)
    check_range("crown_days", crown_days, 0.0, 1e7)
    return prior.shape + flowers, prior.exposure_days + crown_days


def uncertain_rate_probability(rate_shape: float, rate_exposure_days: float, days: float) -> float:
    """Chance of a first-day flower in window days when the rate is Gamma: 1 − (θ/(θ + L))^k.

    Not 1 − exp(−mean rate × L), which is too high.
    """
    check_positive("rate_shape", rate_shape)
    check_positive("rate_exposure_days", rate_exposure_days)
    check_range("days", days, 0.0, DAYS_MAXIMUM)
    return -math.expm1(-rate_shape * math.log1p(days / rate_exposure_days))


def _sum_of_previous(daily_rate: FloatArray, lags: range) -> FloatArray:
    rate = np.asarray(daily_rate, dtype=np.float64)
    check_range("daily_rate", rate, 0.0, RATE_MAXIMUM)
    total = np.zeros_like(rate)
    for lag in lags:
        if lag < rate.shape[-1]:
            total[..., lag:] += rate[..., : rate.shape[-1] - lag]
    return total


def _check_span(first_day: int, last_day: int) -> None:
    if not first_day <= last_day <= first_day + DAYS_MAXIMUM:
        raise ValueError(f"last_day is {last_day}; allowed: {first_day} to {first_day + DAYS_MAXIMUM:g}.")


def _window_cases(
    start: Normal, end: Normal, first_day: int, last_day: int, day_weight: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """Chance and exposure, each (days + 1, days + 1), of every opening and closing day."""
    _check_span(first_day, last_day)
    check_positive("sd", [start.sd, end.sd])
    day = np.arange(first_day, last_day + 1, dtype=np.float64)
    weight = np.ones(day.size) if day_weight is None else np.asarray(day_weight, dtype=np.float64)
    check_range("day_weight", weight, 0.0, 1.0)
    begun = np.concatenate(([0.0], special.ndtr((day - start.mean) / start.sd), [1.0]))
    over = np.concatenate(([0.0], special.ndtr((day - end.mean) / end.sd), [1.0]))
    summed = np.concatenate(([0.0], np.cumsum(weight)))
    exposure = np.maximum(summed[None, :] - summed[:, None], 0.0)
    return np.diff(begun)[:, None] * np.diff(over)[None, :], exposure
