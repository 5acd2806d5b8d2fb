"""The grid keeps mass and mean of both Betas, even where their density is infinite."""

import numpy as np
import pytest
from scipy.special import betaln

from exchange.science.compatibility import group_priors
from exchange.science.compatibility_grid import compatibility_grid, fixed_mean_grid

SHAPES = sorted({(prior.alpha, prior.beta) for prior in group_priors().values() if not prior.refused})


@pytest.mark.parametrize(("alpha", "beta"), SHAPES)
def test_moments_of_the_group_mean_are_exact(alpha: float, beta: float) -> None:
    grid = compatibility_grid(alpha, beta)
    for power in (0, 1, 2, 10, 60):
        moment = float(grid.group_weight @ grid.group_mean**power)
        assert moment == pytest.approx(np.exp(betaln(alpha + power, beta) - betaln(alpha, beta)), rel=1e-7)


@pytest.mark.parametrize(("alpha", "beta"), SHAPES)
def test_each_row_of_shares_keeps_mass_and_mean(alpha: float, beta: float) -> None:
    grid = compatibility_grid(alpha, beta)
    assert grid.share.shape == (200, 401)
    assert grid.share.min() >= 0.0
    np.testing.assert_allclose(grid.share.sum(axis=1), 1.0, atol=1e-12)
    np.testing.assert_allclose(grid.share @ grid.compatibility, grid.group_mean, atol=1e-10)


@pytest.mark.parametrize("mean", [0.001, 0.02, 0.3, 0.8, 0.999])
@pytest.mark.parametrize("failures", [1, 3, 10, 40, 400])
def test_integrated_likelihood_of_failures_equals_the_ratio_of_beta_functions(
    mean: float, failures: int
) -> None:
    grid = fixed_mean_grid(mean)
    first, second = 5.0 * mean, 5.0 * (1.0 - mean)
    exact = np.exp(betaln(first, second + failures) - betaln(first, second))
    # The likelihood is linear between nodes, so the error grows with its curvature, failures².
    tolerance = 1e-3 if failures <= 40 else 1e-2
    assert float(grid.share[0] @ (1.0 - grid.compatibility) ** failures) == pytest.approx(
        exact, rel=tolerance
    )


def test_nodes_crowd_at_the_ends_where_the_priors_do() -> None:
    nodes = fixed_mean_grid(0.5).compatibility
    assert (nodes[0], nodes[-1]) == (0.0, 1.0)
    steps = np.diff(nodes)
    assert steps.min() > 0.0
    assert steps[0] < steps[200] / 200


@pytest.mark.parametrize("mean", [0.0, 1.0])
def test_a_mean_at_the_end_puts_all_weight_there(mean: float) -> None:
    grid = fixed_mean_grid(mean)
    assert float(grid.share[0] @ grid.compatibility) == pytest.approx(mean, abs=1e-9)


def test_the_shared_grid_cannot_be_altered() -> None:
    with pytest.raises(ValueError, match="read-only"):
        compatibility_grid(4.0, 1.0).share[0, 0] = 1.0


def test_impossible_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="alpha is 0; allowed: above 0"):
        compatibility_grid(0.0, 1.0)
    with pytest.raises(ValueError, match=r"group_mean is 1\.5; allowed: 0 to 1"):
        fixed_mean_grid(1.5)
