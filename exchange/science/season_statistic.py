"""Statistics of bloom dates: circular days of the year, shrinkage of few years, this season's weather.

Days of the year run on a common year of 365 days (29 February counts as 28 February); they are used to
unwrap dates near New Year, after that all arithmetic is on plain numbers of days.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range

TROPICAL_YEAR_DAYS = constants.Constant(365.2425, "d", "mean Gregorian year", "definition")
COMMON_YEAR_DAYS = 365


@dataclass(frozen=True)
class Normal:
    """A normal distribution of a day: mean and sd in days."""

    mean: float
    sd: float


@dataclass(frozen=True)
class CircularSummary:
    """Circular mean (day of year), resultant length R (0–1) and circular sd (d)."""

    mean_day: float
    resultant: float
    sd_days: float


@dataclass(frozen=True)
class StudentT:
    """A Student t of a day: degrees of freedom, location (d) and scale (d)."""

    degrees_of_freedom: float
    location: float
    scale: float

    def quantile(self, probability: float) -> float:
        """Day below which the outcome lies with ``probability`` (0–1, both excluded)."""
        return self.location + self.scale * float(special.stdtrit(self.degrees_of_freedom, probability))


def common_day_of_year(day: date) -> int:
    """Day of the 365-day year, 1–365; 29 February counts as 28 February."""
    last_of_february = (day.month, day.day) == (2, 29)
    return date(2001, day.month, 28 if last_of_february else day.day).timetuple().tm_yday


def common_ordinal(day: date) -> int:
    """Days since year 0 when every year has 365 days."""
    return day.year * COMMON_YEAR_DAYS + common_day_of_year(day)


def common_date(ordinal: int) -> date:
    """Calendar date of a 365-day-year ordinal (inverse of ``common_ordinal``)."""
    year, day = divmod(ordinal - 1, COMMON_YEAR_DAYS)
    month_day = date(2001, 1, 1) + timedelta(days=day)
    return date(year, month_day.month, month_day.day)


def circular_summary(days_of_year: ArrayLike) -> CircularSummary:
    """Summarise days of the year on the circle, so that 31 December and 1 January are neighbours.

    Parameters
    ----------
    days_of_year : array_like
        (n,) days of the year, 1–366, n ≥ 1.

    Returns
    -------
    CircularSummary
        Mean in 1–366 (d), R without unit, sd in d; the sd is infinite where R is 0.

    Raises
    ------
    ValueError
        If a day is outside 1–366 or none is given.

    Notes
    -----
    Angle 2π(d − 1)/365.2425; sd = sqrt(−2 ln R) as in ``scipy.stats.circstd`` [definition].
    """
    days = np.atleast_1d(np.asarray(days_of_year, dtype=np.float64))
    check_positive("number of days", days.size)
    check_range("day of year", days, 1.0, 366.0)
    year = TROPICAL_YEAR_DAYS.value
    mean = complex(np.exp(2j * math.pi * (days - 1.0) / year).mean())
    resultant = min(abs(mean), 1.0)
    angle = math.atan2(mean.imag, mean.real) % (2.0 * math.pi)
    spread = math.sqrt(-2.0 * math.log(resultant)) if resultant > 0.0 else math.inf
    return CircularSummary(1.0 + angle * year / (2.0 * math.pi), resultant, spread * year / (2.0 * math.pi))


def has_season(days_of_year: ArrayLike) -> bool:
    """Tell whether first blooms cluster enough to speak of a season (R at least 0.5, judgement)."""
    return circular_summary(days_of_year).resultant >= constants.SEASON_RESULTANT_MINIMUM.value


def in_season(day_of_year: float, first: float, last: float) -> bool:
    """Tell whether a day of the year lies in a season that may cross New Year (both ends included)."""
    return (day_of_year - first) % COMMON_YEAR_DAYS <= (last - first) % COMMON_YEAR_DAYS


def season_length_days(first: float, last: float) -> float:
    """Length of a season from first to last day in a 365-day year; New Year may lie between."""
    return (last - first) % COMMON_YEAR_DAYS + 1.0


def southern_day_of_year(day_of_year: float) -> float:
    """Day of the year of the same season in the other hemisphere: 182 days later, 1–365."""
    return (day_of_year - 1.0 + constants.SOUTHERN_SHIFT_DAYS.value) % COMMON_YEAR_DAYS + 1.0


def nearest_turn(day: float, centre: float) -> float:
    """Shift a day by whole 365-day years into half a year on either side of ``centre``."""
    half = COMMON_YEAR_DAYS / 2.0
    return centre + (day - centre + half) % COMMON_YEAR_DAYS - half


def interval_sd_days(interval_days: float) -> float:
    """Sd (d) of a date known only to lie between two visits ``interval_days`` apart: D/√12."""
    check_range("interval_days", interval_days, 0.0, 366.0)
    return interval_days / math.sqrt(12.0)


def shrink(
    prior: Normal | None, years: Sequence[float], *, year_sd: float, observation_sd: ArrayLike = 0.0
) -> Normal:
    """Forecast the next year's day from recorded years, shrunk toward a prior.

    Parameters
    ----------
    prior : Normal or None
        Mean and sd (d) of the plant's own long-run mean; None is a flat prior.
    years : sequence of float
        (n,) recorded days; n ≥ 1 without a prior.
    year_sd : float
        Sd between years of one plant, d, above 0.
    observation_sd : array_like
        () or (n,) sd of reading each record, d (visits ``D`` apart: D/√12).

    Returns
    -------
    Normal
        Predictive mean (d) and sd (d): the sd holds both the uncertain mean and next year's own luck.

    Raises
    ------
    ValueError
        If ``year_sd`` is not above 0, or neither prior nor years are given.

    Notes
    -----
    Precision P = 1/t² + Σ 1/(σ² + o²); sd = sqrt(1/P + σ²). Normal-normal conjugacy, e.g. Gelman et al.,
    Bayesian Data Analysis, section 2.5 [memory].
    """
    check_positive("year_sd", year_sd)
    if prior is None and not len(years):
        raise ValueError("years is empty; allowed: at least one year where there is no prior.")
    days = np.asarray(years, dtype=np.float64)
    variance = year_sd**2 + np.broadcast_to(np.asarray(observation_sd, dtype=np.float64), days.shape) ** 2
    prior_precision = 0.0 if prior is None else 1.0 / prior.sd**2
    precision = prior_precision + float((1.0 / variance).sum())
    total = float((days / variance).sum()) + (0.0 if prior is None else prior.mean * prior_precision)
    return Normal(total / precision, math.sqrt(1.0 / precision + year_sd**2))


def prior_of_mean(forecast: Normal, *, year_sd: float) -> Normal:
    """Turn a forecast of one year into a prior of the plant's long-run mean: t² = sd² − σ².

    The sd is never below ``PRIOR_MEAN_SD_MINIMUM_DAYS`` (judgement): else a date said with an sd as
    small as the year's own would be held against any number of records.
    """
    variance = max(forecast.sd**2 - year_sd**2, constants.PRIOR_MEAN_SD_MINIMUM_DAYS.value**2)
    return Normal(forecast.mean, math.sqrt(variance))


def unknown_spread_forecast(
    years: Sequence[float], *, prior_mean: float, prior_years: float, prior_sd: float, prior_freedom: float
) -> StudentT:
    """Forecast the next year's day when the sd between years is not known either.

    Parameters
    ----------
    years : sequence of float
        (n,) recorded days, n ≥ 0.
    prior_mean : float
        Prior of the mean, d.
    prior_years : float
        Years the prior mean counts for, κ0, above 0.
    prior_sd : float
        Prior of the sd between years, s0, d, above 0.
    prior_freedom : float
        Degrees of freedom of that prior, ν0, above 0.

    Returns
    -------
    StudentT
        Predictive distribution, d.

    Raises
    ------
    ValueError
        If a prior number is not above 0.

    Notes
    -----
    Normal-inverse-χ² conjugacy, e.g. Gelman et al., Bayesian Data Analysis, section 3.3 [memory].
    """
    for name, value in (
        ("prior_years", prior_years),
        ("prior_sd", prior_sd),
        ("prior_freedom", prior_freedom),
    ):
        check_positive(name, value)
    days = np.asarray(years, dtype=np.float64)
    count, mean = days.size, float(days.mean()) if days.size else prior_mean
    weight, freedom = prior_years + count, prior_freedom + count
    gap = prior_years * count / weight * (mean - prior_mean) ** 2
    squares = prior_freedom * prior_sd**2 + float(((days - mean) ** 2).sum()) + gap
    scale = math.sqrt(squares / freedom * (1.0 + 1.0 / weight))
    return StudentT(freedom, (prior_years * prior_mean + count * mean) / weight, scale)


def degree_day_start(
    day: float, *, required: float, required_sd: float, so_far: float, gain_per_day: float
) -> Normal:
    """Forecast first bloom from this year's degree days: S = d0 + (G* − G)/g, sd = sd(G*)/g.

    Parameters
    ----------
    day : float
        Day d0 up to which degree days are summed.
    required, required_sd : float
        Mean and sd of the degree days (°C d) at this plant's recorded first blooms. No published
        requirement of *Nymphaea* was found; only the plant's own records may define it.
    so_far : float
        Degree days on ``day``, °C d.
    gain_per_day : float
        Normal gain, °C d per d, above 0.

    Returns
    -------
    Normal
        First bloom, d.

    Raises
    ------
    ValueError
        If the gain is not above 0 or the sd is negative.
    """
    check_positive("gain_per_day", gain_per_day)
    check_range("required_sd", required_sd, 0.0, 1e5)
    return Normal(day + (required - so_far) / gain_per_day, required_sd / gain_per_day)


def combine_correlated(first: Normal, second: Normal, correlation: float) -> Normal:
    """Combine two forecasts of one day whose errors are correlated.

    Parameters
    ----------
    first, second : Normal
        Forecasts, d, sd above 0.
    correlation : float
        Correlation of their errors, -0.99 to 0.99; 0 gives plain precision weights.

    Returns
    -------
    Normal
        Least-variance mean of the two with weights in 0–1, d.

    Raises
    ------
    ValueError
        If a sd is not above 0 or the correlation is out of range.

    Notes
    -----
    Weights as in Bates & Granger 1969, Oper. Res. Q. 20:451-468 [memory], cut to 0–1.
    """
    check_positive("sd", [first.sd, second.sd])
    check_range("correlation", correlation, -0.99, 0.99)
    shared = correlation * first.sd * second.sd
    spread = first.sd**2 + second.sd**2 - 2.0 * shared
    weight = min(max((second.sd**2 - shared) / spread, 0.0), 1.0)
    rest = 1.0 - weight
    variance = (weight * first.sd) ** 2 + (rest * second.sd) ** 2 + 2.0 * weight * rest * shared
    return Normal(weight * first.mean + rest * second.mean, math.sqrt(variance))


def weather_shifted_start(history: Normal, weather: Normal) -> Normal:
    """Shift the first bloom known from records by this year's weather, never more than 21 days.

    Records and degree days share the plant's records, so their errors are taken as correlated
    (0.5, judgement).
    """
    combined = combine_correlated(history, weather, constants.WEATHER_CORRELATION.value)
    limit = constants.WEATHER_SHIFT_MAXIMUM_DAYS.value
    shift = min(max(combined.mean - history.mean, -limit), limit)
    return Normal(history.mean + shift, combined.sd)


def truncated_normal_quantile(
    probability: ArrayLike, normal: Normal, *, low: float = -math.inf, high: float = math.inf
) -> FloatArray:
    """Quantile of a normal day that is known to lie between two bounds.

    Parameters
    ----------
    probability : array_like
        (n,) probabilities, 0–1, both ends excluded.
    normal : Normal
        Distribution before the bounds are known, d; sd 0 stands for a fixed day.
    low, high : float
        Bounds, d, ``low`` ≤ ``high``.

    Returns
    -------
    FloatArray
        (n,) days within the bounds.

    Raises
    ------
    ValueError
        If the bounds are crossed or a probability is outside 0–1.

    Notes
    -----
    Worked in logarithms and from the nearer tail: with plain probabilities a bound eight sd away gives
    only infinities.
    """
    chance = np.atleast_1d(np.asarray(probability, dtype=np.float64))
    check_range("probability", chance, 0.0, 1.0)
    if low > high:
        raise ValueError(f"low is {low:g}, above high {high:g}; allowed: low at most high.")
    if normal.sd == 0.0:
        return np.full(chance.shape, min(max(normal.mean, low), high))
    lower, upper = (low - normal.mean) / normal.sd, (high - normal.mean) / normal.sd
    if lower > 0.0:
        return np.clip(
            normal.mean - normal.sd * _lower_tail_quantile(1.0 - chance, -upper, -lower), low, high
        )
    return np.clip(normal.mean + normal.sd * _lower_tail_quantile(chance, lower, upper), low, high)


def _lower_tail_quantile(chance: FloatArray, lower: float, upper: float) -> FloatArray:
    log_lower, log_upper = special.log_ndtr(lower), special.log_ndtr(upper)
    with np.errstate(divide="ignore"):
        logarithm = log_upper + np.log(chance + (1.0 - chance) * np.exp(log_lower - log_upper))
    return np.asarray(special.ndtri_exp(np.minimum(logarithm, 0.0)), dtype=np.float64)
