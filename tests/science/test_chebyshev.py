"""A few nodes give the values on many days."""

import numpy as np
import pytest

from exchange.science.chebyshev import day_nodes


def test_a_polynomial_of_the_logarithm_is_given_exactly() -> None:
    nodes, spread = day_nodes(3, 40, 5)
    days = np.arange(3, 40)
    for power in range(5):
        assert np.log1p(nodes) ** power @ spread == pytest.approx(np.log1p(days) ** power, rel=1e-12)


def test_more_nodes_come_nearer_to_a_decay() -> None:
    days = np.arange(16, 48)
    worst = []
    for count in (4, 8, 12, 16):
        nodes, spread = day_nodes(16, 48, count)
        worst.append(np.abs(0.5 ** (nodes / 5.0) @ spread - 0.5 ** (days / 5.0)).max())
    assert (np.diff(worst) < 0.0).all()
    assert worst[-1] < 1e-12


def test_nodes_lie_between_the_first_and_the_last_day() -> None:
    nodes, spread = day_nodes(0, 16, 9)
    assert 0.0 < nodes.min() < nodes.max() < 15.0
    assert spread.shape == (9, 16)
    assert not nodes.flags.writeable
    assert not spread.flags.writeable


@pytest.mark.parametrize(
    ("first", "stop", "count", "told"),
    [
        (-1, 5, 4, "first is -1"),
        (3, 4, 4, "stop is 4; allowed: 5"),
        (0, 9, 1, "count is 1; allowed: 2"),
    ],
)
def test_what_is_out_of_range_is_refused(first: int, stop: int, count: int, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        day_nodes(first, stop, count)
