"""The rate of the live effect learns only from pairs tried both fresh and stored."""

import numpy as np
import pytest
from scipy import stats

from exchange.science.arrays import FloatArray
from exchange.science.compatibility import group_prior
from exchange.science.constants import DRAW_COUNT
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.live_effect_posterior import Use, live_effect_weight
from exchange.science.outcome import Outcome

SUCCESS = Outcome("set", emasculated=True, bagged=True)
FAILURE = Outcome("failed")
PRIOR = group_prior("brachyceras", "brachyceras")
RATES = live_effect_rates()
STORED = live_effect(np.full((RATES.size, 1), 0.2), RATES)[:, 0]
FRESH: FloatArray = np.ones(RATES.size)
FRESH_SUCCESS = Use(SUCCESS, FRESH, stored=False)


def _mean_rate(weight: FloatArray) -> float:
    return float(weight @ np.log(RATES))


EVEN = np.full(int(DRAW_COUNT.value), 1.0 / DRAW_COUNT.value)


@pytest.mark.parametrize("uses", [[], [FRESH_SUCCESS] * 3, [Use(FAILURE, STORED, stored=True)] * 5])
def test_pairs_tried_in_one_way_only_teach_nothing(uses: list[Use]) -> None:
    np.testing.assert_allclose(live_effect_weight(PRIOR, [uses]), EVEN, rtol=1e-9)


def test_stored_failures_lower_the_rate_and_stored_successes_raise_it() -> None:
    failed = live_effect_weight(PRIOR, [[FRESH_SUCCESS, *[Use(FAILURE, STORED, stored=True)] * 3]])
    worked = live_effect_weight(PRIOR, [[FRESH_SUCCESS, *[Use(SUCCESS, STORED, stored=True)] * 3]])
    assert (failed.sum(), worked.sum()) == pytest.approx((1.0, 1.0))
    assert _mean_rate(failed) < _mean_rate(EVEN) - 0.1
    assert _mean_rate(worked) > _mean_rate(EVEN) + 0.1


def test_weights_are_the_likelihood_with_the_compatibility_integrated_out() -> None:
    pairs = [
        [FRESH_SUCCESS, Use(FAILURE, STORED, stored=True)],
        [Use(FAILURE, FRESH, stored=False), Use(SUCCESS, STORED, stored=True)],
    ]
    weight = live_effect_weight(PRIOR, pairs)
    # Given the group mean, E[C] = μ and E[C²] = μ(5μ + 1)/6, so each pair's likelihood is a polynomial.
    mean = stats.beta.ppf((np.arange(20_000) + 0.5) / 20_000, PRIOR.alpha, PRIOR.beta)
    second = mean * (5 * mean + 1) / 6
    chosen = [0, 17, 2000, 3999]
    exact = [np.mean((mean - m * second) * (m * (mean - second))) for m in STORED[chosen]]
    np.testing.assert_allclose(weight[chosen] / weight[0], np.array(exact) / exact[0], rtol=1e-3)


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="prior is refused"):
        live_effect_weight(group_prior("nelumbo", "hardy"), [])
    dead = Use(SUCCESS, np.zeros(RATES.size), stored=True)
    with pytest.raises(ValueError, match="effect × modifier is 0 for a controlled success"):
        live_effect_weight(PRIOR, [[FRESH_SUCCESS, dead]])
    with pytest.raises(ValueError, match="effect_draws is 2; allowed: 0 to 1"):
        live_effect_weight(PRIOR, [[FRESH_SUCCESS, Use(SUCCESS, 2 * FRESH, stored=True)]])
