import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from exchange.science.arrays import FloatArray
from exchange.science.weighted import weighted_mean, weighted_quantile, weighted_quantiles

counts = st.lists(st.tuples(st.integers(-50, 50), st.integers(0, 5)), min_size=1, max_size=30).filter(
    lambda pairs: any(weight for _, weight in pairs)
)


@given(pairs=counts, thousandth=st.integers(0, 1000))
@settings(deadline=None)
def test_weights_count_like_repeated_values(pairs: list[tuple[int, int]], thousandth: int) -> None:
    values = np.array([value for value, _ in pairs], dtype=np.float64)
    weight = np.array([times for _, times in pairs], dtype=np.float64)
    repeated = np.repeat(values, weight.astype(np.int64))
    probability = thousandth / 1000.0
    expected = float(np.quantile(repeated, probability, method="inverted_cdf"))
    # Where a cumulative share equals the probability up to rounding, numpy may take the next value.
    share = probability * len(repeated)
    if abs(share - round(share)) > 1e-9:
        assert weighted_quantile(values, weight, probability) == expected
    assert weighted_mean(values, weight) == pytest.approx(repeated.mean(), abs=1e-12)


def test_each_column_of_a_table_is_taken_alone() -> None:
    table = np.array([[1.0, 30.0], [2.0, 10.0], [3.0, 20.0]])
    weight = np.array([0.2, 0.2, 0.6])
    middle = weighted_quantile(table, weight, 0.5)
    assert isinstance(middle, np.ndarray)
    assert middle.tolist() == [3.0, 20.0]
    assert np.asarray(weighted_mean(table, weight)) == pytest.approx([2.4, 20.0])


def test_a_quantile_at_a_step_is_the_value_that_reaches_it() -> None:
    values, weight = np.arange(1.0, 4001.0), np.full(4000, 1.0 / 4000.0)
    assert weighted_quantile(values, weight, 0.1) == 400.0
    assert weighted_quantile(values, weight, 0.0) == 1.0
    assert weighted_quantile(values, weight, 1.0) == 4000.0


def test_values_without_weight_are_never_given() -> None:
    assert weighted_quantile(np.array([-9.0, 1.0, 9.0]), np.array([0.0, 1.0, 0.0]), 0.0) == 1.0


@pytest.mark.parametrize(
    ("values", "weight", "probability", "message"),
    [
        ([1.0, 2.0], [1.0], 0.5, "weight has shape"),
        ([1.0, 2.0], [1.0, -1.0], 0.5, "weight is -1; allowed: 0 to inf"),
        ([1.0, 2.0], [0.0, 0.0], 0.5, "weight sums to 0"),
        ([1.0, 2.0], [1.0, 1.0], 1.5, "probability is 1.5; allowed: 0 to 1"),
        ([1.0, float("nan")], [1.0, 1.0], 0.5, "values is nan"),
    ],
)
def test_impossible_input_is_refused(
    values: list[float], weight: list[float], probability: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        weighted_quantile(np.array(values), np.array(weight), probability)


@given(
    arrays(np.float64, (7, 3), elements=st.floats(-5.0, 5.0)),
    arrays(np.float64, 7, elements=st.sampled_from([0.0, 0.5, 1.0, 3.0])).filter(
        lambda each: each.sum() > 0.0
    ),
)
def test_several_quantiles_are_those_one_by_one(values: FloatArray, weight: FloatArray) -> None:
    probabilities = (0.0, 0.1, 0.5, 0.9, 1.0)
    found = weighted_quantiles(values, weight, probabilities)
    one_by_one = [weighted_quantile(values, weight, each) for each in probabilities]
    assert found.tolist() == np.array(one_by_one).tolist()


@pytest.mark.parametrize(
    ("values", "weight", "probability"),
    [
        (np.full((2, 1), np.nan), np.ones(2), 0.5),
        (np.ones((2, 1)), np.zeros(2), 0.5),
        (np.ones((2, 1)), np.ones(2), 1.5),
    ],
)
def test_several_quantiles_refuse_what_one_does(
    values: FloatArray, weight: FloatArray, probability: float
) -> None:
    with pytest.raises(ValueError):
        weighted_quantiles(values, weight, [probability])
