"""One set of scrambled Sobol points behind every draw of a biological parameter."""

from functools import cache

import numpy as np
from scipy.stats import qmc

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_range
from exchange.science.constants import DRAW_COUNT, DRAW_SEED

COLUMNS = (
    "half_life",
    "shape",
    "q10",
    "live_effect_rate",
    "initial_viability",
    "group_mean",
    "compatibility",
)
MAXIMUM_COUNT = 2**20
EDGE = 2.0**-40


@cache
def _uniforms(count: int) -> FloatArray:
    sampler = qmc.Sobol(len(COLUMNS), scramble=True, rng=np.random.default_rng(int(DRAW_SEED.value)))
    # A Sobol sequence asked for a count that is no power of two warns; its first points are the same.
    points = sampler.random_base2(max(0, int(count - 1).bit_length()))[:count]
    points = np.clip(points, EDGE, 1.0 - EDGE)
    points.flags.writeable = False
    return points


def biological_uniforms(count: int | None = None) -> FloatArray:
    """Give the common points from which every biological parameter is drawn.

    Parameters
    ----------
    count : int, optional
        Number of points, 1 to 1,048,576; by default the number the model version fixes.

    Returns
    -------
    FloatArray
        Shape (count, 7), inside (0, 1), one column for each name in ``COLUMNS``; read-only, and
        a smaller count gives the first points of a larger one.

    Raises
    ------
    ValueError
        If ``count`` is out of range.

    Notes
    -----
    Scrambled Sobol points (Owen 1998, J. Complexity 14:466–489 [memory]) with one fixed seed: two
    quantities that use the same column are drawn together, as they must be in one plant.
    """
    number = int(DRAW_COUNT.value) if count is None else count
    check_range("count", number, 1, MAXIMUM_COUNT)
    return _uniforms(number)


def uniform_column(name: str) -> FloatArray:
    """Give the points of one parameter.

    Parameters
    ----------
    name : str
        One of ``COLUMNS``.

    Returns
    -------
    FloatArray
        Shape (draws,), inside (0, 1), read-only.

    Raises
    ------
    ValueError
        If ``name`` is not one of ``COLUMNS``.
    """
    check_choice("name", name, COLUMNS)
    return biological_uniforms()[:, COLUMNS.index(name)]
