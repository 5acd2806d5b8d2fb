"""Thermal age: how much a lot has aged, in equivalent days at 4 °C."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.constants import (
    FREEZING_C,
    HOURS_PER_DAY,
    REFERENCE_TEMPERATURE_C,
)
from exchange.science.temperature_history import check_history, check_temperature, with_crossings

SEGMENTS_AT_ONCE = 256


def _credited(temperature_c: FloatArray, credit_below_freezing: bool) -> FloatArray:
    return temperature_c if credit_below_freezing else np.maximum(temperature_c, FREEZING_C.value)


def rate_factor(
    temperature_c: ArrayLike, q10: FloatArray, *, credit_below_freezing: bool = False
) -> FloatArray:
    """Give how many equivalent days at 4 °C pass in a day at a temperature.

    Parameters
    ----------
    temperature_c : array_like
        One temperature or shape (k,), −90 to 60 °C; above 35 °C the rate is extrapolated.
    q10 : FloatArray
        Shape (n,), above 0.
    credit_below_freezing : bool
        False: below 0 °C the rate is that of 0 °C. True only for a lot tested after freezing.

    Returns
    -------
    FloatArray
        Shape (n,) for one temperature, else (n, k); no unit.

    Raises
    ------
    ValueError
        If a temperature or a Q10 is out of range.

    Notes
    -----
    Q10^((T − 4)/10) with each draw's own Q10. Between 4 and 20 °C apple pollen gave about 1.3–1.4 and
    between −20 and 4 °C about 2 (computed from Ćalić et al. 2021, table 2); seeds give 2.8.
    """
    check_temperature(temperature_c)
    check_positive("q10", q10)
    temperatures = _credited(np.asarray(temperature_c, dtype=np.float64), credit_below_freezing)
    steps = (temperatures - REFERENCE_TEMPERATURE_C.value) / 10.0
    base = np.asarray(q10, dtype=np.float64)
    factor: FloatArray = base**steps if steps.ndim == 0 else base[:, None] ** steps
    return factor


def constant_temperature_age(
    days: ArrayLike, temperature_c: float, q10: FloatArray, *, credit_below_freezing: bool = False
) -> FloatArray:
    """Give the thermal age after days at one temperature.

    Parameters
    ----------
    days : array_like
        One time or shape (k,), 0 or more.
    temperature_c : float
        −90 to 60 °C.
    q10 : FloatArray
        Shape (n,), above 0.
    credit_below_freezing : bool
        As in ``rate_factor``.

    Returns
    -------
    FloatArray
        Shape (n, k), k = 1 for one time; equivalent days at 4 °C.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    check_range("days", days, 0.0, np.inf)
    factor = rate_factor(float(temperature_c), q10, credit_below_freezing=credit_below_freezing)
    return factor[:, None] * np.atleast_1d(np.asarray(days, dtype=np.float64))


def logged_age(
    hours: FloatArray,
    temperature_c: FloatArray,
    q10: FloatArray,
    *,
    credit_below_freezing: bool = False,
) -> FloatArray:
    """Integrate a logged temperature history, linear between readings, exactly.

    Parameters
    ----------
    hours : FloatArray
        Shape (k,), time of each reading in hours, each later than the one before; two or more.
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.
    q10 : FloatArray
        Shape (n,), above 0.
    credit_below_freezing : bool
        As in ``rate_factor``.

    Returns
    -------
    FloatArray
        Shape (n,), equivalent days at 4 °C passed between the first and the last reading.

    Raises
    ------
    ValueError
        If the history or a Q10 is out of range.

    Notes
    -----
    Over a segment from T0 to T1 in Δt, with a = ln(Q10)/10, the integral of e^(a(T − 4)) is
    e^(a(T0 − 4)) Δt (e^(a(T1 − T0)) − 1)/(a(T1 − T0)); the trapezoid rule would overstate it. That
    age adds up under changing temperature is assumed; it was not found tested for pollen.
    """
    times, temperatures = np.asarray(hours, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    check_history(times, temperatures)
    check_positive("q10", q10)
    if not credit_below_freezing:
        times, temperatures = with_crossings(times, temperatures, FREEZING_C.value)
        temperatures = _credited(temperatures, False)
    slope = np.log(np.asarray(q10, dtype=np.float64))[:, None] / 10.0
    days, start = np.diff(times) / HOURS_PER_DAY.value, temperatures[:-1] - REFERENCE_TEMPERATURE_C.value
    rise = np.diff(temperatures)
    age = np.zeros(len(slope))
    for first in range(0, len(days), SEGMENTS_AT_ONCE):
        part = slice(first, first + SEGMENTS_AT_ONCE)
        age += (np.exp(slope * start[part]) * special.exprel(slope * rise[part])) @ days[part]
    return age
