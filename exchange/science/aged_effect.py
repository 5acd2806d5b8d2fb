"""Live effect after any wait, for many waits at once: the inner loop of every plan."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.viability import ViabilityDraws
from exchange.science.weighted import weighted_quantile

CHUNK_CELLS = 16_000
"""Cells reckoned at once: they stay in the processor's cache."""
SMALLEST_RATE = 1e-6
MOST_DECAY = 42.0
"""Beyond this the pollen is dead to sixteen digits; smaller numbers would only slow the processor."""

Precision = type[np.float64] | type[np.float32]


def mean_aged_effect(
    draws: ViabilityDraws,
    rate: FloatArray,
    age_days: FloatArray,
    wait_days: FloatArray,
    *,
    dtype: Precision = np.float64,
) -> FloatArray:
    """Mean of the live effect when pollen of a given age has waited so many days at 4 °C.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    rate : FloatArray
        λ of the live effect, shape (n,), above 0.
    age_days : FloatArray
        Thermal age before the wait, shape (n, r): r histories, equivalent days at 4 °C, 0 or more.
    wait_days : FloatArray
        Shape (k,), days at 4 °C, 0 or more.
    dtype : type
        Precision of the inner loop: float64, or float32 for a fifth of the time and 1e-5 of the digits.

    Returns
    -------
    FloatArray
        Mean over the draws, shape (r, k), 0–1.

    Raises
    ------
    ValueError
        If an age, a wait or a rate is out of range.

    Notes
    -----
    The same as the weighted mean of ``live_effect(remaining_fraction(…))``, without its large arrays.
    """
    _check(rate, age_days, wait_days)
    weight: NDArray[Any] = (draws.weight / draws.weight.sum() * _scale(rate)).astype(dtype)
    # Short sums in the precision of the numbers, added up in double precision.
    total = np.zeros((age_days.shape[1], wait_days.size))
    for part, history, lost in _lost(draws, rate, age_days, wait_days, dtype):
        total[history] += lost @ weight[part]
    return total


def low_aged_effect(
    draws: ViabilityDraws,
    rate: FloatArray,
    age_days: FloatArray,
    wait_days: FloatArray,
    probability: float,
    *,
    dtype: Precision = np.float64,
) -> FloatArray:
    """Quantile of the live effect over the draws; all else as in ``mean_aged_effect``.

    Parameters
    ----------
    probability : float
        0 to 1.

    Returns
    -------
    FloatArray
        Shape (r, k), 0–1.
    """
    _check(rate, age_days, wait_days)
    scale: NDArray[Any] = _scale(rate).astype(dtype)
    effect: NDArray[Any] = np.empty((age_days.shape[1], wait_days.size, rate.size), dtype=dtype)
    for part, history, lost in _lost(draws, rate, age_days, wait_days, dtype):
        np.multiply(lost, scale[part], out=effect[history, :, part])
    by_draw = effect.reshape(-1, rate.size).T
    low = np.asarray(weighted_quantile(by_draw, draws.weight, probability))
    return low.reshape(age_days.shape[1], wait_days.size)


def _check(rate: FloatArray, age_days: FloatArray, wait_days: FloatArray) -> None:
    check_range("age_days", age_days, 0.0, np.inf)
    check_range("wait_days", wait_days, 0.0, np.inf)
    check_range("rate", rate, SMALLEST_RATE, np.inf)


def _scale(rate: FloatArray) -> FloatArray:
    scale: FloatArray = -1.0 / np.expm1(-rate)
    return scale


def _lost(
    draws: ViabilityDraws,
    rate: FloatArray,
    age_days: FloatArray,
    wait_days: FloatArray,
    dtype: Precision,
) -> Iterator[tuple[slice, int, NDArray[Any]]]:
    """1 − e^(−λx), the live effect but for its scale: chunk of draws, history, and array (k, chunk).

    The array is used again for the next chunk. Halvings (τ/h)^β are taken as e^(β ln τ − β ln h): two
    quick functions for a power.
    """
    offset = draws.shape * np.log(draws.half_life_days) - np.log(np.log(2.0))
    columns: list[NDArray[Any]] = [column.astype(dtype) for column in (draws.shape, offset, -rate, wait_days)]
    shape, shift, strength, wait = columns
    ages = np.ascontiguousarray(age_days.T, dtype=dtype)
    chunk = max(1, CHUNK_CELLS // wait.size)
    for start in range(0, rate.size, chunk):
        part = slice(start, start + chunk)
        cell: NDArray[Any] = np.empty((wait.size, shape[part].size), dtype=dtype)
        for history, age in enumerate(ages[:, part]):
            np.add(wait[:, None], age, out=cell)
            _lost_in_place(cell, shape[part], shift[part], strength[part])
            yield part, history, cell


def _lost_in_place(
    cell: NDArray[Any], shape: NDArray[Any], shift: NDArray[Any], strength: NDArray[Any]
) -> None:
    """Ages become 1 − e^(−λx)."""
    with np.errstate(divide="ignore"):
        np.log(cell, out=cell)
    cell *= shape
    cell -= shift
    np.exp(cell, out=cell)
    np.minimum(cell, MOST_DECAY, out=cell)
    np.exp(np.negative(cell, out=cell), out=cell)
    cell *= strength
    np.exp(cell, out=cell)
    np.subtract(1.0, cell, out=cell)
