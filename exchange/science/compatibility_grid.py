"""Numerical grid for the mean of an ordered pair of groups and the compatibility of a pair of clones."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import betainc, roots_jacobi

from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.compatibility import clone_shapes
from exchange.science.constants import COMPATIBILITY_NODES, GROUP_MEAN_NODES


@dataclass(frozen=True)
class Grid:
    """Nodes and weights; ``share[i, j]`` is the prior weight of ``compatibility[j]`` given mean i."""

    group_mean: FloatArray
    group_weight: FloatArray
    compatibility: FloatArray
    share: FloatArray


def _compatibility_nodes() -> FloatArray:
    # Even spacing would put all of a near-incompatible pair into the first cell; these crowd at 0 and 1.
    steps = np.linspace(0.0, 0.5 * np.pi, int(COMPATIBILITY_NODES.value))
    return np.asarray(np.sin(steps) ** 2, dtype=np.float64)


def _shares(group_mean: FloatArray, nodes: FloatArray) -> FloatArray:
    """Split the mass between two nodes so that both its amount and its mean are kept."""
    first, second = (shape[:, None] for shape in clone_shapes(group_mean))
    mass = np.maximum(np.diff(betainc(first, second, nodes), axis=1), 0.0)
    moment = group_mean[:, None] * np.diff(betainc(first + 1.0, second, nodes), axis=1)
    upper = np.clip((moment - nodes[:-1] * mass) / np.diff(nodes), 0.0, mass)
    share = np.zeros((group_mean.size, nodes.size))
    share[:, 1:] += upper
    share[:, :-1] += mass - upper
    return share


def _grid(group_mean: FloatArray, group_weight: FloatArray) -> Grid:
    nodes = _compatibility_nodes()
    parts = (group_mean, group_weight, nodes, _shares(group_mean, nodes))
    for part in parts:
        part.flags.writeable = False
    return Grid(*parts)


@lru_cache(maxsize=64)
def compatibility_grid(alpha: float, beta: float) -> Grid:
    """Build the grid of one group prior.

    Parameters
    ----------
    alpha, beta : float
        Shapes of the Beta of the group mean, above 0.

    Returns
    -------
    Grid
        200 group means with weights that sum to 1, 401 compatibilities, and shares of shape
        (200, 401) whose rows sum to 1 and have the group mean as their mean.

    Raises
    ------
    ValueError
        If a shape is not above 0.

    Notes
    -----
    Group means are Gauss-Jacobi nodes (exact for polynomials up to degree 399, so for up to 399
    single outcomes of different pairs). Between compatibility nodes a likelihood is taken as
    linear; the priors have an infinite density at 0, which midpoints of cells would get wrong.
    """
    check_positive("alpha", alpha)
    check_positive("beta", beta)
    roots, weights = roots_jacobi(int(GROUP_MEAN_NODES.value), beta - 1.0, alpha - 1.0)
    group_mean = np.asarray(0.5 * (1.0 + roots), dtype=np.float64)
    return _grid(group_mean, np.asarray(weights / weights.sum(), dtype=np.float64))


@lru_cache(maxsize=64)
def fixed_mean_grid(group_mean: float) -> Grid:
    """Build the grid of clones whose groups' mean is known exactly.

    Parameters
    ----------
    group_mean : float
        0–1.

    Returns
    -------
    Grid
        One group mean of weight 1, and its share of the 401 compatibilities, shape (1, 401).

    Raises
    ------
    ValueError
        If the mean is out of range.
    """
    check_range("group_mean", group_mean, 0.0, 1.0)
    return _grid(np.array([group_mean]), np.ones(1))
