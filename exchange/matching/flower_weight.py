"""On which day a packet that has arrived meets its flower."""

import numpy as np

from exchange.science.arrays import FloatArray

MOST_IN_RUN = 100.0
"""Flowers, judgement: e^100 and its inverse lose nothing in double precision."""


def first_use_weights(daily_rate: FloatArray, *, dose: int = 1) -> FloatArray:
    """Chance that the ``dose``-th receptive flower on or after day b opens on day b + j.

    A dose is used on the first first-day flower that finds it, so the chances of one arrival day sum
    to at most 1. Summing chances over days instead would use one packet many times.

    Parameters
    ----------
    daily_rate : array (scenarios, days)
        Expected new first-day flowers of each day in each scenario.
    dose : int
        Which dose of the packet, 1 or more.

    Returns
    -------
    array (days, days)
        Row b, column j, mean over the scenarios; zero where b + j lies beyond the last day.

    Raises
    ------
    ValueError
        If ``dose`` is below 1.
    """
    if dose == 1:
        return _first_dose(daily_rate)
    days = daily_rate.shape[1]
    weights = np.zeros((days, days))
    for arrival in range(days):
        weights[arrival, : days - arrival] = use_rows(daily_rate, arrival, dose)[-1]
    return weights


def use_rows(daily_rate: FloatArray, arrival: int, doses: int) -> FloatArray:
    """One row of ``first_use_weights`` for each of the first ``doses`` doses, array (doses, days − arrival).

    Raises
    ------
    ValueError
        If ``doses`` is below 1.
    """
    if doses < 1:
        raise ValueError(f"dose is {doses}; allowed: 1 or more.")
    opened = _opened(daily_rate[:, arrival:])
    fewer, term = np.zeros_like(opened), np.exp(-opened)
    rows = np.zeros((doses, opened.shape[1] - 1))
    for dose in range(1, doses + 1):
        fewer += term
        rows[dose - 1] = -np.diff(fewer.mean(axis=0))
        term = term * opened / dose
    return rows


def _opened(daily_rate: FloatArray) -> FloatArray:
    """Flowers expected before each day and after the last, array (scenarios, days + 1)."""
    opened = np.zeros((daily_rate.shape[0], daily_rate.shape[1] + 1))
    np.cumsum(daily_rate, axis=1, out=opened[:, 1:])
    return opened


def _first_dose(daily_rate: FloatArray) -> FloatArray:
    """All rows for the first dose: no flower from b to t is a factor of b times a factor of t.

    In runs of days in which so few flowers open that the factors stay within the range of numbers.
    """
    scenarios, days = daily_rate.shape
    opened, some = _opened(daily_rate), -np.expm1(-daily_rate) / scenarios
    weights = np.zeros((days, days))
    first = 0
    while first < days:
        since = opened[:, first:days] - opened[:, [first]]
        stop = first + int(np.searchsorted(since.max(axis=0), MOST_IN_RUN, side="right"))
        run = np.exp(since[:, : stop - first]).T @ (np.exp(-since) * some[:, first:])
        for arrival in range(first, stop):
            weights[arrival, : days - arrival] = run[arrival - first, arrival - first :]
        first = stop
    return weights
