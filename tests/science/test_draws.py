import numpy as np
import pytest
from scipy import stats

from exchange.science.constants import DRAW_COUNT
from exchange.science.draws import COLUMNS, biological_uniforms, uniform_column


def test_points_are_strictly_inside_the_unit_cube_and_cannot_be_written() -> None:
    points = biological_uniforms()
    assert points.shape == (int(DRAW_COUNT.value), len(COLUMNS))
    assert points.min() > 0.0
    assert points.max() < 1.0
    with pytest.raises(ValueError, match="read-only"):
        points[0, 0] = 0.5
    with pytest.raises(ValueError, match="read-only"):
        uniform_column("q10")[0] = 0.5


def test_fewer_points_are_the_first_of_more() -> None:
    assert np.array_equal(biological_uniforms(100), biological_uniforms(5000)[:100])
    assert biological_uniforms(1).shape == (1, len(COLUMNS))


def test_columns_are_even_and_unrelated() -> None:
    points = biological_uniforms()
    for index, name in enumerate(COLUMNS):
        assert np.array_equal(uniform_column(name), points[:, index])
        assert stats.kstest(points[:, index], "uniform").statistic < 0.005
    related = np.corrcoef(points, rowvar=False) - np.eye(len(COLUMNS))
    assert np.abs(related).max() < 0.02


@pytest.mark.parametrize("count", [0, -1, 2**20 + 1])
def test_count_out_of_range_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match=r"^count is .*; allowed: 1 to 1\.04858e\+06\.$"):
        biological_uniforms(count)


def test_unknown_column_is_refused() -> None:
    with pytest.raises(ValueError, match="name is 'moon'; allowed: half_life, shape"):
        uniform_column("moon")
