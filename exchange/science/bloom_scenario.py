"""Scenarios of one plant's bloom: many seasons that are all compatible with what is known.

Days are whole: day number d belongs to the window when S ≤ d ≤ E. First bloom, last bloom, the rate and
"does not flower" are drawn together for each scenario; a chance is the mean over scenarios, because
putting the mean number of flowers into 1 − exp(−mean) overstates it.
"""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray
from exchange.science.bloom import BloomWindow
from exchange.science.check import check_range
from exchange.science.season_statistic import Normal, truncated_normal_quantile

LONGEST_SPAN_DAYS = 3000
# A scrambled point may fall on 0 or 1 itself, where a normal has no quantile.
EDGE = 2.0**-33


@dataclass(frozen=True)
class BloomScenarios:
    """Draws of one plant's season, all arrays (n,).

    Attributes
    ----------
    origin : date
        Day 0.
    start_day, end_day : FloatArray
        First and last bloom, d after ``origin``; -inf and inf for a plant that flowers all year.
    rate_per_day : FloatArray
        New flowers of the whole plant and day inside the window.
    flowers : BoolArray
        False where the plant does not flower in this season.
    weak_months : frozenset of int
        Months (1–12) with a reduced rate.
    all_year : bool
        True where there is no season.
    """

    origin: date
    start_day: FloatArray
    end_day: FloatArray
    rate_per_day: FloatArray
    flowers: BoolArray
    weak_months: frozenset[int] = frozenset()
    all_year: bool = False


@dataclass(frozen=True)
class WindowInterval:
    """Dates that first and last bloom are not later than with 10, 50 and 90 %."""

    start_10: date
    start_50: date
    start_90: date
    end_10: date
    end_50: date
    end_90: date


def bloom_scenarios(window: BloomWindow, *, seed: int, count: int | None = None) -> BloomScenarios:
    """Draw seasons from a window by scrambled Sobol points.

    Parameters
    ----------
    window : BloomWindow
        What is forecast. A fixed rate r is a window with a huge shape: ``rate_shape`` 1e9 and
        ``rate_exposure_days`` 1e9 / r.
    seed : int
        Seed of the scrambling, 0 or more; derive it from the plant's public id and forecast version.
    count : int, optional
        Scenarios, a power of two from 2 to 65 536; ``SCENARIO_COUNT`` if not given.

    Returns
    -------
    BloomScenarios
        Arrays of ``count``; days in d after ``window.origin``, rate in flowers per plant and day.

    Raises
    ------
    ValueError
        If the seed is negative or the count is not a power of two.

    Notes
    -----
    S is cut to (``start_after``, ``end_after``] and E to ``end_after`` or later; E ≤ S is no bloom.
    """
    uniform = _uniform(seed, constants.SCENARIO_COUNT.value if count is None else count)
    start, end = _starts(window, uniform[:, 0]), _ends(window, uniform[:, 1])
    quantile = special.gammaincinv(window.rate_shape, uniform[:, 2])
    flowers = uniform[:, 3] < window.flowering_chance
    return BloomScenarios(
        origin=window.origin,
        start_day=start,
        end_day=end,
        rate_per_day=np.asarray(quantile, dtype=np.float64) / window.rate_exposure_days * window.crowns,
        flowers=flowers & (end > start),
        weak_months=window.weak_months,
        all_year=window.all_year,
    )


def daily_rate(scenarios: BloomScenarios, first_day: date, days: int) -> FloatArray:
    """Give the expected number of new first-day flowers on each day of each scenario.

    Parameters
    ----------
    scenarios : BloomScenarios
        n seasons.
    first_day : date
        First day asked for.
    days : int
        Number of days, 1–3000.

    Returns
    -------
    FloatArray
        (n, days) flowers per plant and day; 0 outside the window, all crowns together.

    Raises
    ------
    ValueError
        If ``days`` is out of range.
    """
    check_range("days", days, 1, LONGEST_SPAN_DAYS)
    day = (first_day - scenarios.origin).days + np.arange(days, dtype=np.float64)
    inside = (scenarios.start_day[:, None] <= day) & (day <= scenarios.end_day[:, None])
    rate = np.where(inside & scenarios.flowers[:, None], scenarios.rate_per_day[:, None], 0.0)
    return np.asarray(rate * _month_factor(scenarios.weak_months, first_day, days), dtype=np.float64)


def window_interval(window: BloomWindow) -> WindowInterval | None:
    """Give the 10, 50 and 90 % dates of first and last bloom, or None for a plant without season.

    The first whole day inside is the day after a fraction, the last one the day before it.
    """
    if window.all_year:
        return None
    probability = np.array([0.1, 0.5, 0.9])
    starts = [_date_after(window.origin, math.ceil(day)) for day in _starts(window, probability)]
    ends = [_date_after(window.origin, math.floor(day)) for day in _ends(window, probability)]
    return WindowInterval(*starts, *ends)


def _uniform(seed: int, count: float) -> FloatArray:
    check_range("seed", seed, 0, 2**128)
    check_range("count", count, 2, 65_536)
    exponent = round(math.log2(count))
    if 2**exponent != count:
        raise ValueError(f"count is {count:g}; allowed: a power of two, 2 to 65536.")
    points = stats.qmc.Sobol(d=4, scramble=True, rng=seed).random_base2(exponent)
    return np.clip(np.asarray(points, dtype=np.float64), EDGE, 1.0 - EDGE)


def _starts(window: BloomWindow, probability: ArrayLike) -> FloatArray:
    chance = np.atleast_1d(np.asarray(probability, dtype=np.float64))
    if window.all_year:
        return np.full(chance.shape, -math.inf)
    # "Not yet" on a day means strictly later; a tie would count that day as inside.
    low = -math.inf if window.start_after is None else math.nextafter(window.start_after, math.inf)
    high = math.inf if window.end_after is None else window.end_after
    return truncated_normal_quantile(chance, Normal(window.start_mean, window.start_sd), low=low, high=high)


def _ends(window: BloomWindow, probability: ArrayLike) -> FloatArray:
    chance = np.atleast_1d(np.asarray(probability, dtype=np.float64))
    if window.all_year:
        return np.full(chance.shape, math.inf)
    low = -math.inf if window.end_after is None else window.end_after
    return truncated_normal_quantile(chance, Normal(window.end_mean, window.end_sd), low=low)


def _month_factor(weak_months: frozenset[int], first_day: date, days: int) -> FloatArray:
    weak = constants.WEAK_MONTH_FACTOR.value
    months = (_date_after(first_day, number).month for number in range(days))
    return np.array([weak if month in weak_months else 1.0 for month in months])


def _date_after(origin: date, days: int) -> date:
    return origin + timedelta(days=days)
