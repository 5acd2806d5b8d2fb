"""Flowering season to expect from climate alone: a weak prior for a plant without records."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray
from exchange.science.check import check_choice, check_range
from exchange.science.climate import DAYS_IN_YEAR, daily_air_temperature
from exchange.science.daylight import day_length_hours
from exchange.science.group import GROUPS
from exchange.science.pond import pond_temperature


@dataclass(frozen=True)
class ClimateSeason:
    """Season to expect outdoors.

    Attributes
    ----------
    kind : {"season", "all year", "none"}
        ``none``: the water never stays warm enough.
    first_day_of_year, last_day_of_year : float
        1 to 365, last before first when the season wraps New Year; 1 and 365 for ``all year``, not a
        number for ``none``.
    """

    kind: Literal["season", "all year", "none"]
    first_day_of_year: float
    last_day_of_year: float


@dataclass(frozen=True)
class SeasonRule:
    """When water lets a group flower: °C to start and to end, days from start to the first flower."""

    start_water_c: float
    end_water_c: float
    start_delay_days: float
    ends_by_day_length: bool = False


HARDY_RULE = SeasonRule(constants.HARDY_START_WATER_C.value, constants.HARDY_END_WATER_C.value, 0.0)
TROPICAL_RULE = SeasonRule(
    constants.TROPICAL_START_WATER_C.value,
    constants.TROPICAL_END_WATER_C.value,
    constants.TROPICAL_START_DELAY_DAYS.value,
)
LOTUS_RULE = SeasonRule(
    constants.LOTUS_START_WATER_C.value,
    constants.LOTUS_END_WATER_C.value,
    constants.LOTUS_START_DELAY_DAYS.value,
    ends_by_day_length=True,
)
NO_SEASON = ClimateSeason("none", math.nan, math.nan)
ALL_YEAR = ClimateSeason("all year", 1.0, float(DAYS_IN_YEAR))


def climate_season(
    monthly_mean_c: FloatArray,
    group: str,
    latitude_deg: float,
    *,
    response_days: float = constants.RESPONSE_POND_DAYS.value,
) -> ClimateSeason:
    """Give the outdoor flowering season that a place's normal climate lets a group expect.

    Parameters
    ----------
    monthly_mean_c : FloatArray, shape (12,)
        Mean air temperature of January to December, °C, -90 to 60.
    group : str
        One of hardy, brachyceras, anecphya, lotos, hydrocallis, victoria, nelumbo.
    latitude_deg : float
        Latitude, degrees north, -90 to 90.
    response_days : float
        Response time of the water, days, above 0 to 60: 2 tub, 4 pond, 6 larger.

    Returns
    -------
    ClimateSeason
        Kind, first and last day of year. Show it with a standard deviation of 20 days.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number, or the group is none of the seven.

    Notes
    -----
    All thresholds are judgement on trade pages; no thermal-time study of *Nymphaea* was found. Day
    length ends a lotus season only, and only where days ever reach 13 hours: nearer the equator the
    limit would forbid lotus where it grows best.
    """
    check_choice("group", group, GROUPS)
    check_range("latitude_deg", latitude_deg, -90.0, 90.0)
    water_c = pond_temperature(daily_air_temperature(monthly_mean_c), response_days)
    return season_of_water(water_c, rule_of(group), latitude_deg)


def rule_of(group: str) -> SeasonRule:
    """Give the rule of a group; every group but hardy and nelumbo has the tropical one.

    Parameters
    ----------
    group : str
        One of hardy, brachyceras, anecphya, lotos, hydrocallis, victoria, nelumbo.

    Returns
    -------
    SeasonRule
        Thresholds and delay.

    Raises
    ------
    ValueError
        If the group is none of the seven.
    """
    check_choice("group", group, GROUPS)
    return {"hardy": HARDY_RULE, "nelumbo": LOTUS_RULE}.get(group, TROPICAL_RULE)


def season_of_water(water_c: FloatArray, rule: SeasonRule, latitude_deg: float) -> ClimateSeason:
    """Give the season that a normal year of water temperature allows by a rule.

    Parameters
    ----------
    water_c : FloatArray, shape (365,)
        Daily water temperature from 1 January, °C, 0 to 60.
    rule : SeasonRule
        Thresholds and delay.
    latitude_deg : float
        Latitude, degrees north, -90 to 90.

    Returns
    -------
    ClimateSeason
        Kind, first and last day of year.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number, or the year has not 365 days.
    """
    start = water_window(water_c, rule.start_water_c)
    end = water_window(water_c, rule.end_water_c)
    if start is None or end is None:
        return NO_SEASON
    lit = _lit_days(rule, latitude_deg)
    if bool(np.all(water_c >= rule.start_water_c)) and bool(lit.all()):
        return ALL_YEAR
    coldest = int(np.argmin(water_c))
    first = (start[0] - 1 - coldest) % DAYS_IN_YEAR + rule.start_delay_days
    last_warm = (end[1] - 1 - coldest) % DAYS_IN_YEAR
    last_lit = int(np.flatnonzero(np.roll(lit, -coldest))[-1])
    last = min(last_warm, last_lit)
    if last < first:
        return NO_SEASON
    return ClimateSeason("season", _day_of_year(first, coldest), _day_of_year(last, coldest))


def water_window(
    water_c: FloatArray, threshold_c: float, run_days: int = int(constants.SEASON_RUN_DAYS.value)
) -> tuple[int, int] | None:
    """Find the first and the last day of the warm part of a normal year.

    Parameters
    ----------
    water_c : FloatArray, shape (365,)
        Daily water temperature from 1 January, °C, 0 to 60.
    threshold_c : float
        Water temperature that counts as warm, °C, 0 to 60.
    run_days : int
        Days in a row that must be warm, 1 to 365.

    Returns
    -------
    tuple of int, or None
        Day of year (from 1) on which the first run begins and on which the last ends, counted from
        the coldest day on, so that a southern summer is one window; None if there is no run.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number, or the year has not 365 days.

    Notes
    -----
    A cool spell between two warm ones, as in a monsoon climate, is inside the window.
    """
    if water_c.shape != (DAYS_IN_YEAR,):
        raise ValueError(f"water_c has shape {water_c.shape}; allowed: ({DAYS_IN_YEAR},).")
    check_range("water_c", water_c, 0.0, 60.0)
    check_range("threshold_c", threshold_c, 0.0, 60.0)
    check_range("run_days", run_days, 1, DAYS_IN_YEAR)
    coldest = int(np.argmin(water_c))
    warm = np.roll(water_c >= threshold_c, -coldest)
    starts = np.flatnonzero(np.lib.stride_tricks.sliding_window_view(warm, run_days).all(axis=1))
    if starts.size == 0:
        return None
    first, last = int(starts[0]), int(starts[-1]) + run_days - 1
    return int(_day_of_year(first, coldest)), int(_day_of_year(last, coldest))


def _lit_days(rule: SeasonRule, latitude_deg: float) -> BoolArray:
    always: BoolArray = np.ones(DAYS_IN_YEAR, dtype=np.bool_)
    if not rule.ends_by_day_length:
        return always
    days = np.arange(1.0, DAYS_IN_YEAR + 1.0)
    long = day_length_hours(latitude_deg, days) >= constants.LOTUS_END_DAY_LENGTH_HOURS.value
    return long if long.any() else always


def _day_of_year(days_after_coldest: float, coldest: int) -> float:
    return float((days_after_coldest + coldest) % DAYS_IN_YEAR + 1.0)
