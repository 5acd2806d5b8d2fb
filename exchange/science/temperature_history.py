"""A lot's logged temperatures: accepted readings, hours above a level, what lies outside the curve."""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_range
from exchange.science.constants import (
    FREEZING_C,
    HEAT_LIMIT_C,
    HEAT_LIMIT_HOURS,
    READING_MAXIMUM_C,
    READING_MINIMUM_C,
)
from exchange.science.viability import TREATMENTS, Treatment

DoubtCause = Literal["frozen_undried", "heat", "wetted", "in_fluid"]


def check_temperature(temperature_c: ArrayLike) -> None:
    """Refuse temperatures outside −90 to 60 °C.

    Parameters
    ----------
    temperature_c : array_like
        Temperatures, °C.

    Raises
    ------
    ValueError
        Naming the first temperature out of range.
    """
    check_range("temperature_c", temperature_c, READING_MINIMUM_C.value, READING_MAXIMUM_C.value)


def check_history(hours: FloatArray, temperature_c: FloatArray) -> None:
    """Refuse a temperature history that is not two or more readings in strict order of time.

    Parameters
    ----------
    hours : FloatArray
        Shape (k,), time of each reading, hours.
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.

    Raises
    ------
    ValueError
        If shapes differ, a time does not follow the one before, or a temperature is out of range.
    """
    if hours.ndim != 1 or hours.shape != temperature_c.shape or len(hours) < 2:
        raise ValueError(
            f"hours has shape {hours.shape} and temperature_c {temperature_c.shape}; "
            "allowed: two or more readings, one temperature each."
        )
    check_temperature(temperature_c)
    if not np.isfinite(hours).all():
        raise ValueError(f"hours is {hours[~np.isfinite(hours)][0]:g}; allowed: finite numbers.")
    late = np.flatnonzero(np.diff(hours) <= 0.0)
    if late.size:
        raise ValueError(
            f"hours is {hours[late[0] + 1]:g} after {hours[late[0]]:g}; allowed: each reading later."
        )


def with_crossings(
    hours: FloatArray, temperature_c: FloatArray, level_c: float
) -> tuple[FloatArray, FloatArray]:
    """Add the instants at which a piecewise-linear history crosses a level.

    Parameters
    ----------
    hours, temperature_c : FloatArray
        Shape (k,), as in ``check_history``.
    level_c : float
        Level, °C.

    Returns
    -------
    tuple of FloatArray
        Hours and temperatures, shape (k + crossings,): the same history, no segment across the level.
    """
    above = temperature_c - level_c
    place = np.flatnonzero(above[:-1] * above[1:] < 0.0)
    share = above[place] / (above[place] - above[place + 1])
    when = hours[place] + share * (hours[place + 1] - hours[place])
    return np.insert(hours, place + 1, when), np.insert(temperature_c, place + 1, level_c)


def hours_above(hours: FloatArray, temperature_c: FloatArray, level_c: float) -> float:
    """Give the time a history, linear between readings, spends above a level.

    Parameters
    ----------
    hours, temperature_c : FloatArray
        Shape (k,), as in ``logged_age``.
    level_c : float
        Level, −90 to 60 °C; a stretch exactly at the level does not count.

    Returns
    -------
    float
        Hours.

    Raises
    ------
    ValueError
        If the history or the level is out of range.
    """
    times, temperatures = np.asarray(hours, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    check_history(times, temperatures)
    check_temperature(level_c)
    times, temperatures = with_crossings(times, temperatures, level_c)
    middle = (temperatures[:-1] + temperatures[1:]) / 2.0
    return float(np.diff(times)[middle > level_c].sum())


def doubt_causes(
    treatment: Treatment,
    hours: FloatArray,
    temperature_c: FloatArray,
    *,
    wetted: bool = False,
    in_fluid: bool = False,
) -> list[DoubtCause]:
    """Name what in a lot's history lies outside the viability curve.

    Parameters
    ----------
    treatment : {"fresh", "dried", "frozen"}
        ``fresh`` is the undried one.
    hours, temperature_c : FloatArray
        Shape (k,), as in ``logged_age``.
    wetted : bool
        The pollen, not the parcel, was wet: condensation, melt water, a leak.
    in_fluid : bool
        The pollen was put into stigmatic fluid.

    Returns
    -------
    list of str
        Causes in fixed order: ``frozen_undried`` (below 0 °C undried), ``heat`` (more than one hour
        above 35 °C in all), ``wetted``, ``in_fluid``; empty when the curve holds.

    Raises
    ------
    ValueError
        If the treatment or the history is out of range.

    Notes
    -----
    Undried *Dendrobium* pollen lived 23 d at 4 °C but 17 d at −20 °C (J. Beijing For. Univ., abstract);
    growers say freezing moist pollen kills it (practice). The heat rule is a judgement.
    """
    check_choice("treatment", treatment, TREATMENTS)
    heat_hours = hours_above(hours, temperature_c, HEAT_LIMIT_C.value)
    found: list[tuple[DoubtCause, bool]] = [
        ("frozen_undried", treatment == "fresh" and bool(np.min(temperature_c) < FREEZING_C.value)),
        ("heat", heat_hours > HEAT_LIMIT_HOURS.value),
        ("wetted", wetted),
        ("in_fluid", in_fluid),
    ]
    return [cause for cause, holds in found if holds]


def accepted_readings(
    hours: FloatArray, temperature_c: FloatArray
) -> tuple[FloatArray, FloatArray, list[int]]:
    """Put a logger's readings in order, average those of one time, and list those that cannot be.

    Parameters
    ----------
    hours : FloatArray
        Shape (k,), time of each reading in hours, in any order.
    temperature_c : FloatArray
        Shape (k,), °C as logged.

    Returns
    -------
    tuple
        Hours and temperatures, shape (accepted,), strictly ordered; and positions in the input of
        readings that are not numbers or outside −90 to 60 °C.

    Raises
    ------
    ValueError
        If shapes differ.

    Notes
    -----
    Averaging of equal time stamps as in Tong & Lock 2015, JSM Biopharmaceutical Section, 2065–2070.
    """
    times, temperatures = np.asarray(hours, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    if times.ndim != 1 or times.shape != temperatures.shape:
        raise ValueError(f"hours has shape {times.shape}; allowed: one for each of {temperatures.shape}.")
    possible = (temperatures >= READING_MINIMUM_C.value) & (temperatures <= READING_MAXIMUM_C.value)
    accepted = possible & np.isfinite(times)
    when, place = np.unique(times[accepted], return_inverse=True)
    mean = np.bincount(place, temperatures[accepted]) / np.maximum(np.bincount(place), 1)
    return when, mean[: len(when)], [int(index) for index in np.flatnonzero(~accepted)]
