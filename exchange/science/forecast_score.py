"""How good forecasts were: scores of a forecast against the day that came, lower is better."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.season_statistic import Normal


def crps_normal(forecast: Normal, outcome: float) -> float:
    """Continuous ranked probability score of a normal forecast, in the outcome's unit (d).

    Parameters
    ----------
    forecast : Normal
        Mean and sd, d, sd above 0.
    outcome : float
        What came, d.

    Returns
    -------
    float
        CRPS ≥ 0, d.

    Raises
    ------
    ValueError
        If the sd is not above 0.

    References
    ----------
    Gneiting & Raftery 2007, doi 10.1198/016214506000001437 [memory].
    """
    check_positive("sd", forecast.sd)
    z = (outcome - forecast.mean) / forecast.sd
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return forecast.sd * (z * math.erf(z / math.sqrt(2.0)) + 2.0 * density - 1.0 / math.sqrt(math.pi))


def expected_crps(sd: float) -> float:
    """CRPS (d) that a calibrated normal forecast with this sd (d) has on average: sd/√π."""
    check_positive("sd", sd)
    return sd / math.sqrt(math.pi)


def crps_ensemble(members: ArrayLike, outcome: float, *, fair: bool = False) -> float:
    """Continuous ranked probability score of an ensemble of days.

    Parameters
    ----------
    members : array_like
        (n,) days, n ≥ 1; n ≥ 2 for the fair score.
    outcome : float
        What came, d.
    fair : bool
        Score the distribution the members were drawn from (divide pairs by n(n−1)).

    Returns
    -------
    float
        CRPS, d.

    Raises
    ------
    ValueError
        If there are too few members.

    References
    ----------
    Gneiting & Raftery 2007, doi 10.1198/016214506000001437 [memory].
    """
    days = np.atleast_1d(np.asarray(members, dtype=np.float64))
    check_range("number of members", days.size, 2 if fair else 1, 10**6)
    distance = float(np.abs(days[:, None] - days[None, :]).sum())
    pairs = days.size * (days.size - 1 if fair else days.size)
    return float(np.abs(days - outcome).mean()) - distance / (2.0 * pairs)


def brier_score(chances: ArrayLike, outcomes: ArrayLike) -> float:
    """Mean squared difference of chances (n,), 0–1, and what came (n,), 0 or 1.

    Raises
    ------
    ValueError
        If a chance or an outcome is outside 0–1, or their numbers differ.

    References
    ----------
    Brier 1950, Mon. Weather Rev. 78:1-3 [memory].
    """
    chance = np.atleast_1d(np.asarray(chances, dtype=np.float64))
    outcome = np.atleast_1d(np.asarray(outcomes, dtype=np.float64))
    check_range("chance", chance, 0.0, 1.0)
    check_range("outcome", outcome, 0.0, 1.0)
    if chance.shape != outcome.shape:
        raise ValueError(f"outcomes has {outcome.size} values; allowed: {chance.size}, one for each chance.")
    return float(((chance - outcome) ** 2).mean())


def log_score(forecast: Normal, outcome: float) -> float:
    """Negative log density of a normal forecast (sd above 0) at the outcome, without unit."""
    check_positive("sd", forecast.sd)
    z = (outcome - forecast.mean) / forecast.sd
    return 0.5 * math.log(2.0 * math.pi) + math.log(forecast.sd) + 0.5 * z * z


def interval_score(low: float, high: float, outcome: float, *, missed: float) -> float:
    """Score an interval: its width, and a penalty where the outcome lies outside.

    Parameters
    ----------
    low, high : float
        Interval, d, ``low`` ≤ ``high``.
    outcome : float
        What came, d.
    missed : float
        Share of outcomes the interval is meant to miss, 0.001–0.999 (0.2 for an 80 % interval).

    Returns
    -------
    float
        Score, d.

    Raises
    ------
    ValueError
        If the interval is reversed or ``missed`` is out of range.

    References
    ----------
    Gneiting & Raftery 2007, doi 10.1198/016214506000001437 [memory].
    """
    check_range("missed", missed, 0.001, 0.999)
    if low > high:
        raise ValueError(f"low is {low:g}, above high {high:g}; allowed: low at most high.")
    return (high - low) + 2.0 / missed * (max(low - outcome, 0.0) + max(outcome - high, 0.0))


def central_interval(forecast: Normal, share: float) -> tuple[float, float]:
    """Central interval (d) that holds ``share`` (0.001–0.999) of a normal forecast."""
    check_range("share", share, 0.001, 0.999)
    reach = forecast.sd * float(special.ndtri(0.5 + share / 2.0))
    return forecast.mean - reach, forecast.mean + reach


def probability_integral_transform(forecasts: Sequence[Normal], outcomes: ArrayLike) -> FloatArray:
    """Forecast probability (n,) of an outcome no later than the one that came; flat when calibrated."""
    mean = np.array([forecast.mean for forecast in forecasts])
    sd = np.array([forecast.sd for forecast in forecasts])
    check_positive("sd", sd)
    return np.asarray(special.ndtr((np.asarray(outcomes, dtype=np.float64) - mean) / sd), dtype=np.float64)


def interval_coverage(forecasts: Sequence[Normal], outcomes: ArrayLike, share: float) -> float | None:
    """Share of outcomes inside the central interval, or None for too few forecasts to say.

    Parameters
    ----------
    forecasts : sequence of Normal
        (n,) forecasts as they stood when issued, d.
    outcomes : array_like
        (n,) days that came.
    share : float
        Share the interval should hold, 0.001–0.999.

    Returns
    -------
    float or None
        0–1; None under ``CALIBRATION_FORECASTS_MINIMUM`` forecasts.

    Raises
    ------
    ValueError
        If ``share`` is out of range or a sd is not above 0.
    """
    check_range("share", share, 0.001, 0.999)
    position = probability_integral_transform(forecasts, outcomes)
    if position.size < constants.CALIBRATION_FORECASTS_MINIMUM.value:
        return None
    return float((np.abs(position - 0.5) <= share / 2.0).mean())
