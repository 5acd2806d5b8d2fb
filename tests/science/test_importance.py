import numpy as np
import pytest

from exchange.science.assay import GerminationAssay, log_likelihood
from exchange.science.importance import effective_sample, normalized_weight, redraw
from exchange.science.viability import prior_draws
from exchange.science.weighted import weighted_mean


def test_equal_weights_are_worth_their_number_and_one_weight_one_draw() -> None:
    assert effective_sample(np.full(50, 0.02)) == pytest.approx(50.0)
    assert effective_sample(np.eye(50)[3]) == 1.0
    assert effective_sample(np.array([2.0, 1.0, 1.0])) == pytest.approx(16.0 / 6.0)


def test_weights_of_any_size_are_brought_to_one() -> None:
    weight = normalized_weight(np.array([-1e5, -1e5 + np.log(3.0), -np.inf]))
    assert weight == pytest.approx([0.25, 0.75, 0.0])


def test_new_draws_with_corrected_weights_still_are_the_prior() -> None:
    prior = prior_draws("dried")
    drawn, correction = redraw(prior, np.zeros(4000), "dried")
    weight = normalized_weight(correction)
    assert effective_sample(weight) > 1000.0
    assert drawn.q10 is prior.q10
    for name in ("initial", "shape"):
        mean = weighted_mean(getattr(prior, name), prior.weight)
        assert weighted_mean(getattr(drawn, name), weight) == pytest.approx(mean, abs=0.01)
    life = weighted_mean(np.log(prior.half_life_days), prior.weight)
    assert weighted_mean(np.log(drawn.half_life_days), weight) == pytest.approx(life, abs=0.02)
    assert weight[(drawn.shape < 0.3) | (drawn.shape > 2.0)].sum() == 0.0


def test_new_draws_lie_where_the_counts_are() -> None:
    prior = prior_draws("dried", wide_initial=True)
    counts = [GerminationAssay(0.0, [80] * 12, [100] * 12, "germination", "fluid", "tube")]
    drawn, _ = redraw(prior, log_likelihood(prior, counts), "dried", wide_initial=True)
    assert np.quantile(drawn.initial, 0.1) > 0.65
    assert np.quantile(drawn.initial, 0.9) < 0.92


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="weight sums to 0"):
        effective_sample(np.zeros(3))
    with pytest.raises(ValueError, match="weight is -1; allowed: 0 to inf"):
        effective_sample(np.array([-1.0, 2.0]))
    with pytest.raises(ValueError, match="impossible for every draw"):
        normalized_weight(np.full(3, -np.inf))
