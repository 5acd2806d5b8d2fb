"""On which day a packet that has arrived meets its flower."""

import numpy as np

from exchange.science.arrays import FloatArray


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
    days = daily_rate.shape[1]
    weights = np.zeros((days, days))
    for arrival in range(days):
        weights[arrival, : days - arrival] = first_use_row(daily_rate, arrival, dose=dose)
    return weights


def first_use_row(daily_rate: FloatArray, arrival: int, *, dose: int) -> FloatArray:
    """One row of ``first_use_weights``, array (days − arrival,).

    Raises
    ------
    ValueError
        If ``dose`` is below 1.
    """
    if dose < 1:
        raise ValueError(f"dose is {dose}; allowed: 1 or more.")
    opened = np.zeros((daily_rate.shape[0], daily_rate.shape[1] - arrival + 1))
    np.cumsum(daily_rate[:, arrival:], axis=1, out=opened[:, 1:])
    return np.asarray(np.diff(_at_least(opened, dose), axis=1).mean(axis=0), dtype=np.float64)


def _at_least(expected: FloatArray, count: int) -> FloatArray:
    """Chance of ``count`` or more events of a Poisson variable, element by element."""
    term = np.exp(-expected)
    below = term.copy()
    for order in range(1, count):
        term = term * expected / order
        below += term
    return 1.0 - below
