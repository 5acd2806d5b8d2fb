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
    if dose < 1:
        raise ValueError(f"dose is {dose}; allowed: 1 or more.")
    scenarios, days = daily_rate.shape
    opened = np.concatenate([np.zeros((scenarios, 1)), np.cumsum(daily_rate, axis=1)], axis=1)
    weights = np.zeros((days, days))
    for arrival in range(days):
        reached = _at_least(opened[:, arrival:] - opened[:, arrival : arrival + 1], dose)
        weights[arrival, : days - arrival] = np.diff(reached, axis=1).mean(axis=0)
    return weights


def _at_least(expected: FloatArray, count: int) -> FloatArray:
    """Chance of ``count`` or more events of a Poisson variable, element by element."""
    term = np.exp(-expected)
    below = term.copy()
    for order in range(1, count):
        term = term * expected / order
        below += term
    return 1.0 - below
