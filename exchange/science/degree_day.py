"""Degree days from a day's lowest and highest temperature, by every usual method.

Temperatures are in °C; each method scales, so the same degree days in °F are 1.8 times larger.
"""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_positive, check_range

Shape = Literal["sine", "triangle"]
Cutoff = Literal["horizontal", "intermediate", "vertical"]

SHAPES: tuple[str, ...] = ("sine", "triangle")
CUTOFFS: tuple[str, ...] = ("horizontal", "intermediate", "vertical")
LOWEST_C, HIGHEST_C = -90.0, 60.0


def degree_days(
    minimum_c: ArrayLike,
    maximum_c: ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    *,
    shape: Shape = "sine",
    cutoff: Cutoff = "horizontal",
) -> FloatArray:
    """Count the degree days of each day from its minimum and maximum.

    Parameters
    ----------
    minimum_c, maximum_c : array_like, shapes that broadcast
        Lowest and highest temperature of the day, °C, -90 to 60, minimum not above maximum.
    lower_c : float
        Temperature below which nothing develops, °C, -90 to 60.
    upper_c : float, optional
        Temperature above which more warmth does not help, °C, above ``lower_c``; none by default.
    shape : {"sine", "triangle"}
        Course of temperature within the day.
    cutoff : {"horizontal", "intermediate", "vertical"}
        Above ``upper_c`` the rate stays, falls as fast as it rose (never below zero), or is zero.

    Returns
    -------
    FloatArray, broadcast shape
        Degree days, °C d, 0 or more.

    Raises
    ------
    ValueError
        If a temperature is out of range or not a number, or limits or words do not fit.

    Notes
    -----
    Expected values of some public packages are wrong (35/40 °C with limits 12 and 33 is 21, not 5);
    these closed forms agree with numerical integration.

    References
    ----------
    Baskerville & Emin 1969, Ecology 50:514-517 (sine); Zalom et al. 1983, University of California
    leaflet 21373, table 7; cut-offs as in UC IPM's degree-day glossary.
    """
    minimum, maximum = _checked_day(minimum_c, maximum_c)
    _check_method(lower_c, upper_c, shape, cutoff)
    total = _area_above(shape, minimum, maximum, lower_c)
    if upper_c is None:
        return total
    above = _area_above(shape, minimum, maximum, upper_c)
    if cutoff == "horizontal":
        return total - above
    if cutoff == "intermediate":
        # The rate falls to zero at 2 upper - lower; past it the plain formula would turn negative.
        return total - 2.0 * above + _area_above(shape, minimum, maximum, 2.0 * upper_c - lower_c)
    hot_share = _share_above(shape, minimum, maximum, upper_c)
    return np.maximum(total - above - (upper_c - lower_c) * hot_share, 0.0)


def double_degree_days(
    minimum_c: ArrayLike,
    maximum_c: ArrayLike,
    next_minimum_c: ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    *,
    shape: Shape = "sine",
    cutoff: Cutoff = "horizontal",
) -> FloatArray:
    """Count the degree days of each day in two halves, the second toward the next day's minimum.

    Parameters
    ----------
    minimum_c, maximum_c, next_minimum_c : array_like, shapes that broadcast
        Lowest and highest temperature of the day and lowest of the next day, °C, -90 to 60.
    lower_c : float
        Temperature below which nothing develops, °C, -90 to 60.
    upper_c : float, optional
        Temperature above which more warmth does not help, °C, above ``lower_c``; none by default.
    shape : {"sine", "triangle"}
        Course of temperature within each half.
    cutoff : {"horizontal", "intermediate", "vertical"}
        Rate above ``upper_c``, see ``degree_days``.

    Returns
    -------
    FloatArray, broadcast shape
        Degree days, °C d, 0 or more.

    Raises
    ------
    ValueError
        If a temperature is out of range or not a number, or limits or words do not fit.

    Notes
    -----
    When warm air arrives the next minimum may lie above this day's maximum; the second half then
    rises instead of falling, between the same two temperatures.

    References
    ----------
    Allen 1976, Environ. Entomol. 5:388-396, doi 10.1093/ee/5.3.388.
    """
    check_range("next_minimum_c", next_minimum_c, LOWEST_C, HIGHEST_C)
    first = degree_days(minimum_c, maximum_c, lower_c, upper_c, shape=shape, cutoff=cutoff)
    low = np.minimum(next_minimum_c, maximum_c)
    high = np.maximum(next_minimum_c, maximum_c)
    second = degree_days(low, high, lower_c, upper_c, shape=shape, cutoff=cutoff)
    return (first + second) / 2.0


def average_degree_days(minimum_c: ArrayLike, maximum_c: ArrayLike, lower_c: float) -> FloatArray:
    """Count degree days as the mean of minimum and maximum above a limit, never below zero.

    Parameters
    ----------
    minimum_c, maximum_c : array_like, shapes that broadcast
        Lowest and highest temperature of the day, °C, -90 to 60, minimum not above maximum.
    lower_c : float
        Temperature below which nothing develops, °C, -90 to 60.

    Returns
    -------
    FloatArray, broadcast shape
        Degree days, °C d, 0 or more.

    Raises
    ------
    ValueError
        If a temperature is out of range or not a number.

    References
    ----------
    McMaster & Wilhelm 1997, doi 10.1016/S0168-1923(97)00027-0, method 1.
    """
    minimum, maximum = _checked_day(minimum_c, maximum_c)
    check_range("lower_c", lower_c, LOWEST_C, HIGHEST_C)
    return np.maximum((minimum + maximum) / 2.0 - lower_c, 0.0)


def substituted_average_degree_days(
    minimum_c: ArrayLike, maximum_c: ArrayLike, lower_c: float, upper_c: float | None = None
) -> FloatArray:
    """Count degree days as the mean of minimum and maximum, each first moved inside the limits.

    Parameters
    ----------
    minimum_c, maximum_c : array_like, shapes that broadcast
        Lowest and highest temperature of the day, °C, -90 to 60, minimum not above maximum.
    lower_c : float
        Temperature below which nothing develops, °C, -90 to 60.
    upper_c : float, optional
        Temperature above which more warmth does not help, °C, above ``lower_c``; none by default.

    Returns
    -------
    FloatArray, broadcast shape
        Degree days, °C d, 0 or more.

    Raises
    ------
    ValueError
        If a temperature is out of range or not a number, or the limits do not fit.

    References
    ----------
    McMaster & Wilhelm 1997, doi 10.1016/S0168-1923(97)00027-0, method 2.
    """
    minimum, maximum = _checked_day(minimum_c, maximum_c)
    _check_limits(lower_c, upper_c)
    high = np.inf if upper_c is None else upper_c
    return (np.clip(minimum, lower_c, high) + np.clip(maximum, lower_c, high)) / 2.0 - lower_c


def expected_degree_days(mean_c: ArrayLike, sd_c: ArrayLike, lower_c: float) -> FloatArray:
    """Give the expected degree days of a day whose mean temperature varies from year to year.

    Parameters
    ----------
    mean_c : array_like
        Normal daily mean temperature, °C, -90 to 60.
    sd_c : array_like
        Standard deviation of daily means round it, °C, above 0 to 30.
    lower_c : float
        Temperature below which nothing develops, °C, -90 to 60.

    Returns
    -------
    FloatArray, broadcast shape
        Expected degree days, °C d, 0 or more.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number.

    Notes
    -----
    Monthly means alone lose 10-18 % of a cool climate's degree days: a cool normal day is sometimes
    warm, and no day is less than zero. Mean of a normal distribution above a limit (definition).
    """
    check_range("mean_c", mean_c, LOWEST_C, HIGHEST_C)
    check_positive("sd_c", sd_c)
    check_range("sd_c", sd_c, 0.0, 30.0)
    check_range("lower_c", lower_c, LOWEST_C, HIGHEST_C)
    spread = np.asarray(sd_c, dtype=np.float64)
    excess = np.asarray(mean_c, dtype=np.float64) - lower_c
    score = excess / spread
    density = np.exp(-(score**2) / 2.0) / np.sqrt(2.0 * np.pi)
    expected: FloatArray = spread * density + excess * ndtr(score)
    return np.maximum(expected, 0.0)


def water_degree_days(water_c: ArrayLike, lower_c: float) -> FloatArray:
    """Count the degree days of water, whose daily mean is enough as it hardly swings in a day.

    Parameters
    ----------
    water_c : array_like
        Daily mean water temperature, °C, 0 to 60.
    lower_c : float
        Temperature below which nothing develops, °C, -90 to 60.

    Returns
    -------
    FloatArray, shape of ``water_c``
        Degree days, °C d, 0 or more.

    Raises
    ------
    ValueError
        If a temperature is out of range or not a number.

    Notes
    -----
    That the daily mean is enough is judgement; a tub a few centimetres deep swings by 7-14 °C
    (Paaijmans et al. 2008, Hydrol. Process. 22:4789-4801, abstract).
    """
    check_range("water_c", water_c, 0.0, HIGHEST_C)
    check_range("lower_c", lower_c, LOWEST_C, HIGHEST_C)
    excess: FloatArray = np.asarray(water_c, dtype=np.float64) - lower_c
    return np.maximum(excess, 0.0)


def _area_above(shape: str, minimum: FloatArray, maximum: FloatArray, level_c: float) -> FloatArray:
    mean, half = (minimum + maximum) / 2.0, (maximum - minimum) / 2.0
    if shape == "sine":
        angle = _crossing_angle(minimum, maximum, level_c)
        crossed = ((mean - level_c) * (np.pi / 2.0 - angle) + half * np.cos(angle)) / np.pi
    else:
        crossed = _share_above(shape, minimum, maximum, level_c) ** 2 * half
    return np.where(level_c >= maximum, 0.0, np.where(level_c <= minimum, mean - level_c, crossed))


def _share_above(shape: str, minimum: FloatArray, maximum: FloatArray, level_c: float) -> FloatArray:
    if shape == "sine":
        crossed = 0.5 - _crossing_angle(minimum, maximum, level_c) / np.pi
    else:
        inside = np.clip(level_c, minimum, maximum)
        crossed = (maximum - inside) / _divisible(maximum - minimum)
    return np.where(level_c >= maximum, 0.0, np.where(level_c <= minimum, 1.0, crossed))


def _crossing_angle(minimum: FloatArray, maximum: FloatArray, level_c: float) -> FloatArray:
    mean, half = (minimum + maximum) / 2.0, (maximum - minimum) / 2.0
    # Brought inside the day first: a level far off over a tiny swing would overflow.
    inside = np.clip(level_c, minimum, maximum)
    angle: FloatArray = np.arcsin(np.clip((inside - mean) / _divisible(half), -1.0, 1.0))
    return angle


def _divisible(width: FloatArray) -> FloatArray:
    return np.where(width > 0.0, width, 1.0)


def _checked_day(minimum_c: ArrayLike, maximum_c: ArrayLike) -> tuple[FloatArray, FloatArray]:
    check_range("minimum_c", minimum_c, LOWEST_C, HIGHEST_C)
    check_range("maximum_c", maximum_c, LOWEST_C, HIGHEST_C)
    minimum, maximum = np.broadcast_arrays(
        np.asarray(minimum_c, dtype=np.float64), np.asarray(maximum_c, dtype=np.float64)
    )
    wrong = minimum > maximum
    if wrong.any():
        low, high = minimum[wrong][0], maximum[wrong][0]
        raise ValueError(f"minimum_c is {low:g}; allowed: {LOWEST_C:g} to maximum_c, {high:g}.")
    return minimum, maximum


def _check_method(lower_c: float, upper_c: float | None, shape: str, cutoff: str) -> None:
    _check_limits(lower_c, upper_c)
    check_choice("shape", shape, SHAPES)
    check_choice("cutoff", cutoff, CUTOFFS)


def _check_limits(lower_c: float, upper_c: float | None) -> None:
    check_range("lower_c", lower_c, LOWEST_C, HIGHEST_C)
    if upper_c is None:
        return
    check_range("upper_c", upper_c, LOWEST_C, HIGHEST_C)
    if upper_c <= lower_c:
        raise ValueError(f"upper_c is {upper_c:g}; allowed: above lower_c, {lower_c:g}, to {HIGHEST_C:g}.")
