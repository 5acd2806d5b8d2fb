"""The figures of a log that people know: extremes, hours above 8 °C, mean kinetic temperature."""

from dataclasses import dataclass

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.constants import CHILLED_MAXIMUM_C
from exchange.science.kinetic_temperature import logged_kinetic_temperature, worst_day_kinetic_temperature
from exchange.science.logger_history import LoggerHistory
from exchange.science.temperature_history import check_history, hours_above, with_crossings


@dataclass(frozen=True)
class LoggerSummary:
    """Shown beside the thermal age, never in its place.

    Parameters
    ----------
    readings : int
    maximum_c, minimum_c : float
        Of the readings, °C.
    hours_above_8_c, longest_hours_above_8_c : float
        In all, and the longest stretch without a break, h.
    mean_kinetic_c, worst_day_kinetic_c : float
        Of the whole history and of its warmest 24 hours, °C.
    span_hours, assumed_hours : float
        From the first to the last reading, and how much of that lies in marked gaps, h.
    """

    readings: int
    maximum_c: float
    minimum_c: float
    hours_above_8_c: float
    longest_hours_above_8_c: float
    mean_kinetic_c: float
    worst_day_kinetic_c: float
    span_hours: float
    assumed_hours: float

    @property
    def measured_hours(self) -> float:
        """Hours that readings show."""
        return self.span_hours - self.assumed_hours


def logger_summary(history: LoggerHistory) -> LoggerSummary:
    """Sum up a history; with the worst and the best history the figures come as a range.

    Parameters
    ----------
    history : LoggerHistory
        Two readings or more.

    Returns
    -------
    LoggerSummary
        Extremes of readings only, all other figures of the history with its assumed hours.

    Raises
    ------
    ValueError
        If the history is out of range.
    """
    hours, temperatures = history.hours, history.temperature_c
    read = temperatures[~history.assumed]
    level = CHILLED_MAXIMUM_C.value
    return LoggerSummary(
        readings=len(read),
        maximum_c=float(read.max()),
        minimum_c=float(read.min()),
        hours_above_8_c=hours_above(hours, temperatures, level),
        longest_hours_above_8_c=longest_hours_above(hours, temperatures, level),
        mean_kinetic_c=logged_kinetic_temperature(hours, temperatures),
        worst_day_kinetic_c=worst_day_kinetic_temperature(hours, temperatures),
        span_hours=float(hours[-1] - hours[0]),
        assumed_hours=history.assumed_hours,
    )


def longest_hours_above(hours: FloatArray, temperature_c: FloatArray, level_c: float) -> float:
    """Give the longest unbroken time a history, linear between readings, spends above a level.

    Parameters
    ----------
    hours, temperature_c : FloatArray
        Shape (k,), as in ``hours_above``.
    level_c : float
        Level, °C; a stretch exactly at the level does not count.

    Returns
    -------
    float
        Hours.

    Raises
    ------
    ValueError
        If the history is out of range.
    """
    check_history(hours, temperature_c)
    times, temperatures = with_crossings(hours, temperature_c, level_c)
    above = (temperatures[:-1] + temperatures[1:]) / 2.0 > level_c
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))
    starts, ends = times[edges[::2]], times[edges[1::2]]
    return float(np.max(ends - starts, initial=0.0))
