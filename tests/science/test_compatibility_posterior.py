"""Outcomes sharpen the pair and its groups, each by as much as they should."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from scipy.special import betaln

from exchange.science.arrays import FloatArray
from exchange.science.compatibility import GroupPrior, compatibility_draws, group_prior
from exchange.science.compatibility_posterior import (
    Estimate,
    group_estimate,
    known_group_estimate,
    pair_draws,
    pair_estimate,
)
from exchange.science.outcome import Outcome, PairRecord, Reporting
from exchange.science.weighted import weighted_quantile
from tests.published import Row, cases, published

SUCCESS = Outcome("set", emasculated=True, bagged=True)
FAILURE = Outcome("failed")


def _prior(alpha: float, beta: float) -> GroupPrior:
    return replace(group_prior("hardy", "hardy"), alpha=alpha, beta=beta)


def _failures(count: int, effect: float = 1.0) -> tuple[Outcome, ...]:
    return (Outcome("failed", effect=effect),) * count


@pytest.mark.parametrize("row", cases("compatibility", "known_group"))
def test_a_pair_of_a_known_group_learns_by_its_own_flowers(row: Row) -> None:
    inputs = row.inputs
    successes = (replace(SUCCESS, effect=inputs["effect"]),) * inputs.get("successes", 0)
    outcomes = successes + _failures(inputs.get("failures", 0), inputs["effect"])
    row.check(known_group_estimate(inputs["group_mean"], outcomes).mean)


@pytest.mark.parametrize("row", cases("compatibility", "group_after_failures", "pair_after_failures"))
def test_failures_lower_group_and_pair_as_computed(row: Row) -> None:
    inputs = row.inputs
    outcomes = _failures(inputs["each"], inputs["effect"])
    records = [PairRecord(f"seed {i}", "pollen", outcomes) for i in range(inputs.get("pairs", 1))]
    prior = _prior(inputs["alpha"], inputs["beta"])
    if row.quantity == "group_after_failures":
        row.check(group_estimate(prior, records).mean)
    else:
        row.check(pair_estimate(prior, records, "seed 0", "pollen").mean)


def test_weighting_failures_by_the_pollens_life_would_be_biased() -> None:
    (row,) = (row for row in published("compatibility") if row.quantity == "weighted_failure_limit")
    compatibility, effect = row.inputs["compatibility"], row.inputs["effect"]
    tries = 4000
    set_count = round(tries * compatibility * effect)
    failed = tries - set_count
    row.check((4.0 + set_count) / (5.0 + set_count + effect * failed))
    outcomes = (replace(SUCCESS, effect=effect),) * set_count + _failures(failed, effect)
    assert known_group_estimate(0.8, outcomes).mean == pytest.approx(compatibility, abs=0.002)


def _joint_means(alpha: float, beta: float, failures: int, power: int) -> tuple[float, float]:
    """Group and pair mean by quadrature when the pair's evidence enters the group ``power`` times."""

    def evidence(mean: float) -> float:
        return float(np.exp(betaln(5 * mean, 5 * (1 - mean) + failures) - betaln(5 * mean, 5 * (1 - mean))))

    def density(mean: float) -> float:
        return float(stats.beta.pdf(mean, alpha, beta)) * evidence(mean) ** power

    low, high = 1e-9, 1.0 - 1e-9
    total = integrate.quad(density, low, high, limit=400)[0]
    group = integrate.quad(lambda mean: mean * density(mean), low, high, limit=400)[0] / total
    return group, group * 5 / (5 + failures)


def test_a_pairs_outcomes_are_not_counted_at_both_levels() -> None:
    prior, records = _prior(4.0, 1.0), [PairRecord("a", "b", _failures(40))]
    once, twice = _joint_means(4.0, 1.0, 40, 1), _joint_means(4.0, 1.0, 40, 2)
    assert group_estimate(prior, records).mean == pytest.approx(once[0], abs=1e-4)
    assert pair_estimate(prior, records, "a", "b").mean == pytest.approx(once[1], abs=1e-4)
    assert twice[0] < once[0] - 0.05
    assert twice[1] < once[1] - 0.005


def test_one_stubborn_pair_condemns_its_group_far_less_than_many_pairs() -> None:
    prior = group_prior("brachyceras", "brachyceras")
    one = group_estimate(prior, [PairRecord("a", "b", _failures(40))])
    many = group_estimate(prior, [PairRecord(f"a{i}", "b", _failures(1)) for i in range(40)])
    assert many.mean == pytest.approx(4 / 45, abs=1e-6)
    assert one.mean > 3 * many.mean
    assert (one.pairs, one.pollinations) == (1, 40)
    assert (many.pairs, many.pollinations) == (40, 40)


def test_a_flagged_plant_leaves_the_group_but_keeps_its_own_result() -> None:
    prior = group_prior("hardy", "hardy")
    sterile = PairRecord("a", "b", _failures(20), flagged_sterile=True)
    group = group_estimate(prior, [sterile])
    assert group.mean == pytest.approx(prior.mean, abs=1e-9)
    assert (group.pairs, group.pollinations) == (0, 0)
    assert pair_estimate(prior, [sterile], "a", "b").mean < 0.1
    assert pair_estimate(prior, [sterile], "a", "c").mean == pytest.approx(prior.mean, abs=1e-9)


def test_a_new_pair_takes_the_mean_its_group_has_learned() -> None:
    prior = group_prior("hardy", "hardy")
    records = [PairRecord("a", "b", (SUCCESS, SUCCESS)), PairRecord("c", "d", (FAILURE,))]
    new = pair_estimate(prior, records, "e", "f")
    assert new.mean == pytest.approx(group_estimate(prior, records).mean, abs=1e-9)
    assert (new.pairs, new.pollinations) == (0, 0)


def test_the_reverse_direction_learns_only_as_another_pair() -> None:
    prior = group_prior("hardy", "hardy")
    records = [PairRecord("a", "b", (FAILURE,) * 10)]
    reverse = pair_estimate(prior, records, "b", "a")
    assert reverse == pair_estimate(prior, records, "x", "y")
    assert reverse.mean > 2 * pair_estimate(prior, records, "a", "b").mean


def test_records_of_a_pair_in_two_parts_count_as_one_pair() -> None:
    prior = group_prior("hardy", "hardy")
    parts = [PairRecord("a", "b", (FAILURE,) * 3), PairRecord("a", "b", (FAILURE,) * 4)]
    whole = [PairRecord("a", "b", (FAILURE,) * 7)]
    assert group_estimate(prior, parts) == group_estimate(prior, whole)


def _likelihood(compatibility: FloatArray, outcomes: tuple[Outcome, ...]) -> FloatArray:
    """Written out again, from the wording of the rules, for the comparison with the grid."""
    total = np.ones_like(compatibility)
    for outcome in outcomes:
        chance = compatibility * outcome.effect * outcome.modifier
        if outcome.result == "set":
            trust = [0.3, 0.7, 1.0][outcome.emasculated + outcome.bagged]
            total = total * (trust * chance + 1.0 - trust)
        elif outcome.result == "failed":
            total = total * (1.0 - chance)
        elif outcome.result == "unknown":
            total = total * (0.1 * chance + 0.4 * (1.0 - chance))
    return total


MIXED = {
    ("a", "b"): (replace(SUCCESS, effect=0.6), Outcome("failed", effect=0.9, modifier=0.3), Outcome("set")),
    ("a", "c"): (*_failures(4, 0.7), Outcome("unknown", effect=0.8)),
    ("d", "b"): (Outcome("set", emasculated=True), Outcome("made"), Outcome("lost"), Outcome("unknown")),
}


@pytest.mark.parametrize("pair", [("hardy", "brachyceras"), ("hardy", "hardy"), ("anecphya", "anecphya")])
def test_the_grid_agrees_with_a_brute_force_simulation(pair: tuple[str, str]) -> None:
    prior = group_prior(*pair)
    records = [PairRecord(*clones, outcomes) for clones, outcomes in MIXED.items()]
    rng = np.random.default_rng(7)
    mean = np.clip(rng.beta(prior.alpha, prior.beta, 400_000), 1e-12, 1 - 1e-12)
    drawn = {clones: rng.beta(5 * mean, 5 * (1 - mean)) for clones in MIXED}
    weight = np.prod([_likelihood(drawn[clones], outcomes) for clones, outcomes in MIXED.items()], axis=0)

    def error(values: FloatArray) -> float:
        average = np.average(values, weights=weight)
        return float(np.sqrt(np.sum((weight * (values - average)) ** 2)) / weight.sum())

    group = group_estimate(prior, records)
    assert abs(group.mean - np.average(mean, weights=weight)) < 4.5 * error(mean)
    for clones in MIXED:
        estimate = pair_estimate(prior, records, *clones)
        values = drawn[clones]
        assert abs(estimate.mean - np.average(values, weights=weight)) < 4.5 * error(values)
        low, high = (float(weighted_quantile(values, weight, share)) for share in (0.1, 0.9))
        # A few hundred draws carry most of the weight where the prior is steep, hence the tolerance.
        assert estimate.low == pytest.approx(min(low, estimate.mean), abs=0.02)
        assert estimate.high == pytest.approx(max(high, estimate.mean), abs=0.02)


def test_the_grid_agrees_with_nested_quadrature() -> None:
    prior, outcomes = _prior(2.0, 2.0), MIXED[("a", "b")]

    def evidence(mean: float, power: int) -> float:
        def value(share: float) -> float:
            drawn = stats.beta.ppf(share, 5 * mean, 5 * (1 - mean))
            return float(drawn**power * _likelihood(np.array(drawn), outcomes))

        return float(integrate.quad(value, 0, 1, epsabs=1e-7)[0])

    nodes, weights = np.polynomial.legendre.leggauss(24)
    means = stats.beta.ppf(0.5 * (nodes + 1), 2, 2)
    plain = np.array([evidence(mean, 0) for mean in means])
    total = weights @ plain
    records = [PairRecord("a", "b", outcomes)]
    assert group_estimate(prior, records).mean == pytest.approx(weights @ (means * plain) / total, abs=2e-4)
    pair = weights @ np.array([evidence(mean, 1) for mean in means]) / total
    assert pair_estimate(prior, records, "a", "b").mean == pytest.approx(pair, abs=2e-4)


OUTCOME = st.builds(
    Outcome,
    result=st.sampled_from(["made", "set", "failed", "unknown", "lost"]),
    effect=st.floats(0.01, 1.0),
    modifier=st.sampled_from([0.2, 0.3, 0.8, 1.0]),
    emasculated=st.booleans(),
    bagged=st.booleans(),
    capsule_seen=st.booleans(),
)
RECORDS = st.lists(
    st.builds(
        PairRecord,
        st.sampled_from(["a", "b"]),
        st.sampled_from(["c", "d"]),
        st.lists(OUTCOME, max_size=4).map(tuple),
        st.booleans(),
    ),
    max_size=5,
)
PRIORS = st.sampled_from([("hardy", "hardy"), ("hardy", "brachyceras"), ("hardy", "victoria")])


def _both(prior: GroupPrior, records: list[PairRecord]) -> tuple[Estimate, Estimate]:
    return group_estimate(prior, records), pair_estimate(prior, records, "a", "c")


@given(PRIORS, RECORDS)
@settings(max_examples=60, deadline=None)
def test_estimates_are_chances_in_order_and_do_not_depend_on_the_order_of_records(
    pair: tuple[str, str], records: list[PairRecord]
) -> None:
    prior = group_prior(*pair)
    for one, other in zip(_both(prior, records), _both(prior, records[::-1]), strict=True):
        assert 0.0 <= one.low <= one.mean <= one.high <= 1.0
        assert one.mean == pytest.approx(other.mean, abs=1e-9)
        assert (one.pairs, one.pollinations) == (other.pairs, other.pollinations)


@given(PRIORS, RECORDS, st.floats(0.01, 1.0))
@settings(max_examples=60, deadline=None)
def test_a_failure_never_raises_and_a_success_never_lowers(
    pair: tuple[str, str], records: list[PairRecord], effect: float
) -> None:
    prior = group_prior(*pair)
    worse = [*records, PairRecord("a", "c", _failures(1, effect))]
    better = [*records, PairRecord("a", "c", (replace(SUCCESS, effect=effect),))]
    for low, middle, high in zip(
        _both(prior, worse), _both(prior, records), _both(prior, better), strict=True
    ):
        assert low.mean <= middle.mean + 1e-6
        assert high.mean >= middle.mean - 1e-6


@given(RECORDS)
@settings(max_examples=40, deadline=None)
def test_silence_lies_between_its_two_bounds(records: list[PairRecord]) -> None:
    prior = group_prior("hardy", "hardy")
    records = [*records, PairRecord("a", "c", (Outcome("unknown"),))]
    middle = pair_estimate(prior, records, "a", "c").mean
    low = pair_estimate(prior, records, "a", "c", unknown_as="failed").mean
    high = pair_estimate(prior, records, "a", "c", unknown_as="set").mean
    assert low - 1e-9 <= middle <= high + 1e-9
    assert low < high


def test_a_grower_who_reports_both_ends_alike_teaches_nothing_by_silence() -> None:
    prior = group_prior("hardy", "hardy")
    records = [PairRecord("a", "b", (Outcome("unknown"),) * 5)]
    estimate = group_estimate(prior, records, reporting=Reporting(0.5, 0.5))
    assert estimate.mean == pytest.approx(prior.mean, abs=1e-9)
    assert estimate.pollinations == 0
    assert group_estimate(prior, records).mean < prior.mean - 0.01


def test_thousands_of_outcomes_neither_overflow_nor_vanish() -> None:
    prior = group_prior("brachyceras", "brachyceras")
    records = [PairRecord("a", "b", (SUCCESS,) * 600 + (FAILURE,) * 1400)]
    assert pair_estimate(prior, records, "a", "b").mean == pytest.approx(0.3, abs=0.003)


def test_a_refused_pair_stays_at_nothing() -> None:
    prior = group_prior("nelumbo", "hardy")
    records = [PairRecord("a", "b", (SUCCESS,))]
    nothing = Estimate(0.0, 0.0, 0.0, 0, 0)
    assert group_estimate(prior, records) == nothing
    assert pair_estimate(prior, records, "a", "b") == nothing
    assert not pair_draws(prior, records, "a", "b").any()


@pytest.mark.parametrize("clones", [*MIXED, ("x", "y")], ids="_".join)
def test_draws_after_outcomes_have_the_mean_and_band_of_the_estimate(clones: tuple[str, str]) -> None:
    prior = group_prior("hardy", "hardy")
    records = [PairRecord(*pair, outcomes) for pair, outcomes in MIXED.items()]
    draws, estimate = pair_draws(prior, records, *clones), pair_estimate(prior, records, *clones)
    assert draws.mean() == pytest.approx(estimate.mean, abs=0.003)
    np.testing.assert_allclose(np.quantile(draws, [0.1, 0.9]), [estimate.low, estimate.high], atol=0.02)


def test_draws_without_records_are_those_of_the_prior_and_take_the_modifier() -> None:
    prior = group_prior("hardy", "hardy")
    np.testing.assert_array_equal(pair_draws(prior, [], "a", "b"), compatibility_draws(prior))
    records = [PairRecord("a", "b", (FAILURE,))]
    np.testing.assert_allclose(
        pair_draws(prior, records, "a", "b", modifier=0.2), 0.2 * pair_draws(prior, records, "a", "b")
    )
    with pytest.raises(ValueError, match="modifier is 3; allowed: 0 to 1"):
        pair_draws(prior, records, "a", "b", modifier=3.0)
