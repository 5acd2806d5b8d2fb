"""Gaps of a log: the worst and the best that may have happened in them; readings inside an interval."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray
from exchange.science.logger_stamp import SECONDS_PER_HOUR
from exchange.science.temperature_history import check_history, check_temperature

# A filled gap is entered and left within a second: a history is lines between strictly later readings.
EDGE_SECONDS = 1.0


@dataclass(frozen=True)
class LoggerHistory:
    """A temperature history, linear between its points.

    Parameters
    ----------
    hours : FloatArray
        Shape (k,), since the first reading, each later than the one before.
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.
    assumed : BoolArray
        Shape (k,), true at points that no reading shows.
    """

    hours: FloatArray
    temperature_c: FloatArray
    assumed: BoolArray

    @property
    def assumed_hours(self) -> float:
        """Hours in marked gaps."""
        either = self.assumed[:-1] | self.assumed[1:]
        return float(np.diff(self.hours)[either].sum())


def usual_interval_seconds(epoch_seconds: FloatArray) -> float:
    """Median interval of readings in order; NaN for fewer than two."""
    return float(np.median(np.diff(epoch_seconds))) if len(epoch_seconds) > 1 else float("nan")


def gaps(epoch_seconds: FloatArray, interval_seconds: float) -> BoolArray:
    """Mark intervals longer than 1.5 usual ones, shape (k − 1,) for k readings in order."""
    long: BoolArray = np.diff(epoch_seconds) > constants.LOGGER_GAP_INTERVALS.value * interval_seconds
    return long


def marked_gaps(epoch_seconds: FloatArray, interval_seconds: float) -> BoolArray:
    """Mark intervals longer than an hour and than three usual ones, shape (k − 1,)."""
    longest = max(
        constants.LOGGER_MARKED_GAP_HOURS.value * SECONDS_PER_HOUR,
        constants.LOGGER_MARKED_GAP_INTERVALS.value * interval_seconds,
    )
    long: BoolArray = np.diff(epoch_seconds) > longest
    return long


def inside_interval(
    epoch_seconds: FloatArray, first: datetime | None = None, last: datetime | None = None
) -> BoolArray:
    """Mark the readings from packing to opening; the others stay in the log.

    Parameters
    ----------
    epoch_seconds : FloatArray
        Shape (k,), seconds since 1970-01-01 UTC.
    first, last : datetime, optional
        With zone; both belong to the interval.

    Returns
    -------
    BoolArray
        Shape (k,).

    Raises
    ------
    ValueError
        If a time has no zone, or ``last`` is before ``first``.
    """
    low, high = _instant("first", first, -np.inf), _instant("last", last, np.inf)
    if low > high:
        raise ValueError(f"last is {last}; allowed: not before first, {first}.")
    inside: BoolArray = (epoch_seconds >= low) & (epoch_seconds <= high)
    return inside


def _instant(name: str, value: datetime | None, otherwise: float) -> float:
    if value is None:
        return otherwise
    if value.utcoffset() is None:
        raise ValueError(f"{name} is {value}; allowed: a time with its zone.")
    return value.timestamp()


def worst_history(
    epoch_seconds: FloatArray,
    temperature_c: FloatArray,
    assumed_c: float,
    *,
    interval_seconds: float | None = None,
) -> LoggerHistory:
    """Fill every marked gap with the warmest that is plausible.

    Parameters
    ----------
    epoch_seconds, temperature_c : FloatArray
        Shape (k,), as in ``LoggerReadings``, or those of an interval; two or more.
    assumed_c : float
        −90 to 60 °C; where a reading beside the gap is warmer, that one is taken.
    interval_seconds : float, optional
        Usual interval of the whole log; by default that of these readings.

    Returns
    -------
    LoggerHistory
        Shape (k + 2 for each marked gap,), never below ``best_history`` of the same readings.

    Raises
    ------
    ValueError
        If the readings or the temperature are out of range.
    """
    check_temperature(assumed_c)
    return _history(epoch_seconds, temperature_c, assumed_c, interval_seconds)


def best_history(
    epoch_seconds: FloatArray, temperature_c: FloatArray, *, interval_seconds: float | None = None
) -> LoggerHistory:
    """Join the readings beside every marked gap by a straight line; parameters as in ``worst_history``.

    Raises
    ------
    ValueError
        If the readings are out of range.
    """
    return _history(epoch_seconds, temperature_c, None, interval_seconds)


def _history(
    epoch_seconds: FloatArray,
    temperature_c: FloatArray,
    assumed_c: float | None,
    interval_seconds: float | None,
) -> LoggerHistory:
    seconds = np.asarray(epoch_seconds, dtype=np.float64)
    temperatures = np.asarray(temperature_c, dtype=np.float64)
    check_history(seconds, temperatures)
    usual = usual_interval_seconds(seconds) if interval_seconds is None else interval_seconds
    before = np.flatnonzero(marked_gaps(seconds, usual))
    edges = np.stack([seconds[before] + EDGE_SECONDS, seconds[before + 1] - EDGE_SECONDS], axis=1).ravel()
    if assumed_c is None:
        filled = np.interp(edges, seconds, temperatures)
    else:
        beside = np.maximum(temperatures[before], temperatures[before + 1])
        filled = np.repeat(np.maximum(beside, assumed_c), 2)
    where = np.repeat(before + 1, 2)
    hours = (np.insert(seconds, where, edges) - seconds[0]) / SECONDS_PER_HOUR
    assumed = np.insert(np.zeros(len(seconds), dtype=bool), where, True)
    return LoggerHistory(hours, np.insert(temperatures, where, filled), assumed)
