"""Ages of all draws from their values on a few nodes of Q10: as exact, and a hundred times quicker."""

from functools import cache

import numpy as np
from numpy.polynomial import chebyshev

from exchange.science.arrays import FloatArray
from exchange.science.constants import Q10_NODES
from exchange.science.viability import prior_draws


@cache
def q10_nodes() -> tuple[FloatArray, FloatArray]:
    """Give the nodes and the matrix that spreads ages on them over the draws.

    Returns
    -------
    tuple of FloatArray
        Q10 on the nodes, shape (nodes,); and a matrix, shape (draws, nodes): ``matrix @ ages`` are the
        ages of the draws. Read-only.

    Notes
    -----
    An age is a sum of exponentials of ln(Q10), which interpolation at Chebyshev points meets to the last
    digits: the coefficients fall like (s/2)^k / k! with s below 10 (Trefethen 2013, Approximation Theory and
    Approximation Practice, chapters 3 and 8 [memory]). Q10 has one prior for all treatments, and assays
    leave it as it is.
    """
    logs = np.log(prior_draws("dried").q10)
    low, high = float(logs.min()), float(logs.max())
    count = int(Q10_NODES.value)
    points = np.cos(np.pi * (np.arange(count) + 0.5) / count)
    nodes: FloatArray = np.exp((low + high + (high - low) * points) / 2.0)
    coefficients = chebyshev.chebvander(points, count - 1) * (2.0 / count)
    coefficients[:, 0] /= 2.0
    places = (2.0 * logs - low - high) / (high - low)
    matrix: FloatArray = chebyshev.chebvander(places, count - 1) @ coefficients.T
    for array in (nodes, matrix):
        array.flags.writeable = False
    return nodes, matrix
