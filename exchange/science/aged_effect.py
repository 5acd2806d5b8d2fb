"""Live effect after any wait, for many waits at once: the inner loop of every plan."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np

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
    draws: ViabilityDraws, rate: FloatArray, age_days: FloatArray, wait_days: FloatArray
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

    Returns
    -------
    tuple of FloatArray
        Mean and 10 % quantile over the draws, each of shape (r, k), 0–1.

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
        effect = _effect(draws, rate, age_days[:, column], wait_days)
        mean = draws.weight @ effect / draws.weight.sum()
        return mean, np.asarray(weighted_quantile(effect, draws.weight, constants.LOW_QUANTILE.value))

    with ThreadPoolExecutor(THREADS) as pool:
        rows = list(pool.map(one_history, range(age_days.shape[1])))
    return np.array([mean for mean, _ in rows]), np.array([low for _, low in rows])


def _effect(
    draws: ViabilityDraws, rate: FloatArray, age_days: FloatArray, wait_days: FloatArray
) -> FloatArray:
    """Live effect, shape (n, k); in chunks of draws that stay in the processor's cache, in place."""
    effect = np.empty((age_days.size, wait_days.size))
    scale = 1.0 / -np.expm1(-rate)
    with np.errstate(divide="ignore"):
        for start in range(0, age_days.size, CHUNK_DRAWS):
            part = slice(start, start + CHUNK_DRAWS)
            cell = effect[part]
            np.add(age_days[part, None], wait_days, out=cell)
            cell /= draws.half_life_days[part, None]
            np.log2(cell, out=cell)
            cell *= draws.shape[part, None]
            np.exp2(cell, out=cell)
            # Beyond this the pollen is dead to sixteen digits; smaller numbers would only slow the processor.
            np.minimum(cell, MOST_HALVINGS, out=cell)
            np.exp2(np.negative(cell, out=cell), out=cell)
            cell *= -rate[part, None]
            np.exp(cell, out=cell)
            np.subtract(1.0, cell, out=cell)
            cell *= scale[part, None]
    return effect
