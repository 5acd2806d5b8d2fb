"""Live effect after any wait, for many waits at once: the inner loop of every plan."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.viability import ViabilityDraws
from exchange.science.weighted import weighted_quantile

CHUNK_DRAWS = 250
THREADS = 2
SMALLEST_RATE = 1e-6
MOST_HALVINGS = 60.0


def aged_effect(
    draws: ViabilityDraws,
    rate: FloatArray,
    age_days: FloatArray,
    wait_days: FloatArray,
    *,
    dtype: type[np.float64] | type[np.float32] = np.float64,
) -> tuple[FloatArray, FloatArray]:
    """Mean and 10 % quantile of the live effect when pollen of a given age has waited so many days at 4 °C.

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
        Precision of the inner loop: float64, or float32 for a third of the time and 1e-5 of the digits.

    Returns
    -------
    tuple of FloatArray
        Mean over the draws and 10 % quantile over the first 500, each of shape (r, k), 0–1.

    Raises
    ------
    ValueError
        If an age, a wait or a rate is out of range.

    Notes
    -----
    The same as ``live_effect(remaining_fraction(…))`` cell by cell, without its large arrays in between;
    histories are shared out over two threads, because NumPy works outside the interpreter's lock.
    """
    check_range("age_days", age_days, 0.0, np.inf)
    check_range("wait_days", wait_days, 0.0, np.inf)
    check_range("rate", rate, SMALLEST_RATE, np.inf)

    def one_history(column: int) -> tuple[FloatArray, FloatArray]:
        effect = _effect(draws, rate, age_days[:, column], wait_days, dtype)
        mean = _mean(effect, weight)
        tail = weighted_quantile(effect[:some], draws.weight[:some], constants.LOW_QUANTILE.value)
        return mean, np.asarray(tail)

    weight = (draws.weight / draws.weight.sum()).astype(dtype)
    some = int(constants.RANGE_DRAW_COUNT.value)

    with ThreadPoolExecutor(THREADS) as pool:
        rows = list(pool.map(one_history, range(age_days.shape[1])))
    return np.array([mean for mean, _ in rows]), np.array([low for _, low in rows])


def _mean(effect: NDArray[Any], weight: NDArray[Any]) -> FloatArray:
    """Mean over the draws: short sums in the precision of the numbers, added up in double precision."""
    total = np.zeros(effect.shape[1])
    for start in range(0, weight.size, CHUNK_DRAWS):
        total += weight[start : start + CHUNK_DRAWS] @ effect[start : start + CHUNK_DRAWS]
    return total


def _effect(
    draws: ViabilityDraws,
    rate: FloatArray,
    age_days: FloatArray,
    wait_days: FloatArray,
    dtype: type[np.float64] | type[np.float32],
) -> NDArray[Any]:
    """Live effect, shape (n, k); in chunks of draws that stay in the processor's cache, in place."""
    effect: NDArray[Any] = np.empty((age_days.size, wait_days.size), dtype=dtype)
    given = age_days, wait_days, draws.half_life_days, draws.shape, rate, 1.0 / -np.expm1(-rate)
    columns: list[NDArray[Any]] = [column.astype(dtype) for column in given]
    age, wait, half_life, shape, strength, scale = columns
    with np.errstate(divide="ignore"):
        for start in range(0, age_days.size, CHUNK_DRAWS):
            part = slice(start, start + CHUNK_DRAWS)
            cell = effect[part]
            np.add(age[part, None], wait, out=cell)
            cell /= half_life[part, None]
            np.log2(cell, out=cell)
            cell *= shape[part, None]
            np.exp2(cell, out=cell)
            # Beyond this the pollen is dead to sixteen digits; smaller numbers would only slow the processor.
            np.minimum(cell, MOST_HALVINGS, out=cell)
            np.exp2(np.negative(cell, out=cell), out=cell)
            cell *= -strength[part, None]
            np.exp(cell, out=cell)
            np.subtract(dtype(1.0), cell, out=cell)
            cell *= scale[part, None]
    return effect
