"""A smooth function on a run of whole days, from its values on a few nodes."""

from functools import cache

import numpy as np
from numpy.polynomial import chebyshev

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range


@cache
def day_nodes(first: int, stop: int, count: int) -> tuple[FloatArray, FloatArray]:
    """Give nodes for the days from ``first`` up to ``stop``, not included, and the matrix that spreads them.

    Parameters
    ----------
    first, stop : int
        Days, ``first`` 0 or more, ``stop`` at least two days later.
    count : int
        Number of nodes, 2 or more.

    Returns
    -------
    tuple of FloatArray
        Nodes, shape (count,), days; and a matrix M, shape (count, stop − first): ``values @ M`` are the
        values on the days. Read-only.

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Interpolation at Chebyshev points of log(1 + day): of a function that decays over days, what happens
    early needs the nodes. Its error falls geometrically with ``count`` where the function is smooth
    (Trefethen 2013, Approximation Theory and Approximation Practice, chapter 8 [memory]).
    """
    check_range("first", first, 0, np.inf)
    check_range("stop", stop, first + 2, np.inf)
    check_range("count", count, 2, np.inf)
    low, high = float(np.log1p(first)), float(np.log1p(stop - 1))
    points = np.cos(np.pi * (np.arange(count) + 0.5) / count)
    nodes: FloatArray = np.expm1((low + high + (high - low) * points) / 2.0)
    days = (2.0 * np.log1p(np.arange(first, stop)) - low - high) / (high - low)
    # The points are orthogonal, so the coefficients of the interpolating polynomial are plain sums.
    coefficients = chebyshev.chebvander(points, count - 1) * (2.0 / count)
    coefficients[:, 0] /= 2.0
    matrix: FloatArray = coefficients @ chebyshev.chebvander(days, count - 1).T
    for array in (nodes, matrix):
        array.flags.writeable = False
    return nodes, matrix
