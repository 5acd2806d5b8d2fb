"""Mean and quantile of weighted draws."""

from collections.abc import Sequence

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range

ROUNDING = 1e-12


def _check_weights(values: FloatArray, weight: FloatArray) -> None:
    if values.ndim not in (1, 2) or weight.shape != values.shape[:1]:
        raise ValueError(f"weight has shape {weight.shape}; allowed: one weight a row of {values.shape}.")
    check_range("weight", weight, 0.0, np.inf)
    if not weight.sum() > 0.0:
        raise ValueError("weight sums to 0; allowed: at least one weight above 0.")


def weighted_quantile(values: FloatArray, weight: FloatArray, probability: float) -> float | FloatArray:
    """Give the smallest value at which the share of the weight reaches a probability.

    Parameters
    ----------
    values : FloatArray
        Shape (n,) or (n, k), any unit; no NaN.
    weight : FloatArray
        Shape (n,), 0 or more, need not sum to 1.
    probability : float
        0 to 1.

    Returns
    -------
    float or FloatArray
        One number, or shape (k,), in the unit of ``values``.

    Raises
    ------
    ValueError
        If shapes differ, a weight is negative, all are zero, a value is NaN, or ``probability`` is
        out of range.

    Notes
    -----
    The inverse of the empirical distribution: type 1 of Hyndman & Fan 1996, Am. Stat. 50:361–365
    [memory]. It never invents a value between two draws.
    """
    numbers = values if values.dtype == np.float32 else np.asarray(values, dtype=np.float64)
    shares = np.asarray(weight, dtype=np.float64)
    _check_weights(numbers, shares)
    check_range("probability", probability, 0.0, 1.0)
    if np.isnan(numbers).any():
        raise ValueError("values is nan; allowed: numbers.")
    table = numbers[:, None] if numbers.ndim == 1 else numbers
    kept = shares > 0.0
    if not kept.all():
        table, shares = table[kept], shares[kept]
    shares = shares / shares.sum()
    if np.all(shares == shares[0]):
        return _equal_quantile(table, probability, numbers.ndim == 1)
    order = np.argsort(table, axis=0, kind="stable")
    reached = np.cumsum(shares[order], axis=0) >= probability - ROUNDING
    # Rounding may leave the last sum a hair under one; the last row always counts as reached.
    reached[-1] = True
    rows = np.take_along_axis(order, reached.argmax(axis=0)[None, :], axis=0)
    result: FloatArray = np.take_along_axis(table, rows, axis=0)[0]
    return float(result[0]) if numbers.ndim == 1 else result


def weighted_quantiles(values: FloatArray, weight: FloatArray, probabilities: Sequence[float]) -> FloatArray:
    """Give several quantiles of the columns of weighted draws, sorted once.

    Parameters
    ----------
    values : FloatArray
        Shape (n, k), any unit; no NaN.
    weight : FloatArray
        Shape (n,), 0 or more, need not sum to 1.
    probabilities : sequence of float
        0 to 1 each.

    Returns
    -------
    FloatArray
        Shape (len(probabilities), k); each row is ``weighted_quantile``.

    Raises
    ------
    ValueError
        As ``weighted_quantile``.
    """
    table, shares = np.asarray(values, dtype=np.float64), np.asarray(weight, dtype=np.float64)
    _check_weights(table, shares)
    check_range("probability", probabilities, 0.0, 1.0)
    if np.isnan(table).any():
        raise ValueError("values is nan; allowed: numbers.")
    kept = shares > 0.0
    table, shares = table[kept], shares[kept] / shares[kept].sum()
    order = np.argsort(table, axis=0)
    reached = np.cumsum(shares[order], axis=0)
    reached[-1] = 1.0
    rows = [(reached >= each - ROUNDING).argmax(axis=0) for each in probabilities]
    places = np.take_along_axis(order, np.array(rows), axis=0)
    found: FloatArray = np.take_along_axis(table, places, axis=0)
    return found


def _equal_quantile(table: FloatArray, probability: float, single: bool) -> float | FloatArray:
    """The same quantile where all weights are equal, without sorting: priors are asked for many of them."""
    count = table.shape[0]
    rank = min(max(int(np.ceil((probability - ROUNDING) * count)), 1), count) - 1
    columns = table.T.copy(order="C")
    columns.partition(rank, axis=1)
    result: FloatArray = columns[:, rank].astype(np.float64)
    return float(result[0]) if single else result


def weighted_mean(values: FloatArray, weight: FloatArray) -> float | FloatArray:
    """Give the mean of weighted draws.

    Parameters
    ----------
    values : FloatArray
        Shape (n,) or (n, k), any unit.
    weight : FloatArray
        Shape (n,), 0 or more, need not sum to 1.

    Returns
    -------
    float or FloatArray
        One number, or shape (k,), in the unit of ``values``.

    Raises
    ------
    ValueError
        If shapes differ, a weight is negative or all are zero.
    """
    numbers, shares = np.asarray(values, dtype=np.float64), np.asarray(weight, dtype=np.float64)
    _check_weights(numbers, shares)
    mean: FloatArray = (shares / shares.sum()) @ numbers
    return float(mean) if numbers.ndim == 1 else mean
