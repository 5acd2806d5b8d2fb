"""Transit days: prior of a lane, learning from parcels received and still under way, safe quantiles."""

from itertools import product
from math import lgamma
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from exchange.science.arrays import FloatArray
from exchange.science.transit import (
    MAX_BUSINESS_DAYS,
    LogNormalTime,
    Transit,
    arrival_quantile_days,
    log_normal_time,
    parcels_needed,
    safe_quantile,
    shifted_gamma_cumulative,
    shifted_gamma_quantile,
    slower,
    transit_predictive,
    transit_prior_weights,
)
from tests.published import Row, cases

NOTHING = np.zeros(MAX_BUSINESS_DAYS)
DAYS = np.arange(1, MAX_BUSINESS_DAYS + 1)


def padded(first: list[float], lost: float | None = None) -> FloatArray:
    days = np.pad(np.array(first, dtype=np.float64), (0, MAX_BUSINESS_DAYS - len(first)))
    return days if lost is None else np.append(days, lost)


def predictive(inputs: dict[str, Any]) -> Transit:
    weights = padded(inputs["prior"], inputs["lost_weight"])
    return transit_predictive(weights, padded(inputs["delivered"]), 0, inputs.get("under_way", ()))


def shares(transit: Transit) -> FloatArray:
    return np.append(transit.day_probability, transit.lost_probability)


def log_normal(inputs: dict[str, float]) -> LogNormalTime:
    return log_normal_time(inputs["median"], inputs["upper"], inputs["probability"])


@pytest.mark.parametrize("row", cases("transit", "dirichlet_day"))
def test_chance_of_a_day_is_the_published_share(row: Row) -> None:
    row.check(predictive(row.inputs).day_probability[row.inputs["day"] - 1])


@pytest.mark.parametrize("row", cases("transit", "dirichlet_by_day"))
def test_chance_by_a_day_is_the_published_share(row: Row) -> None:
    row.check(predictive(row.inputs).day_probability[: row.inputs["day"]].sum())


@pytest.mark.parametrize("row", cases("transit", "dirichlet_lost"))
def test_chance_of_loss_is_the_published_share(row: Row) -> None:
    row.check(predictive(row.inputs).lost_probability)


@pytest.mark.parametrize("row", cases("transit", "dirichlet_quantile"))
def test_quantile_day_is_the_published_one(row: Row) -> None:
    row.check(arrival_quantile_days(predictive(row.inputs), row.inputs["probability"]))


@pytest.mark.parametrize("row", cases("transit", "log_normal_sigma"))
def test_log_normal_spread(row: Row) -> None:
    row.check(log_normal(row.inputs).sd_log)


@pytest.mark.parametrize("row", cases("transit", "log_normal_quantile"))
def test_log_normal_quantile(row: Row) -> None:
    row.check(log_normal(row.inputs).quantile(row.inputs["of"]))


@pytest.mark.parametrize("row", cases("transit", "log_normal_mean"))
def test_log_normal_mean(row: Row) -> None:
    row.check(log_normal(row.inputs).mean)


@pytest.mark.parametrize("row", cases("transit", "log_normal_cumulative"))
def test_log_normal_chance_by_a_time(row: Row) -> None:
    row.check(log_normal(row.inputs).cumulative(row.inputs["time"]))


@pytest.mark.parametrize("row", cases("transit", "gamma_quantile"))
def test_gamma_quantile(row: Row) -> None:
    row.check(shifted_gamma_quantile(**row.inputs))


@pytest.mark.parametrize("row", cases("transit", "parcels_needed"))
def test_parcels_needed_for_a_distribution_free_bound(row: Row) -> None:
    row.check(parcels_needed(row.inputs["quantile"], row.inputs["confidence"]))


@pytest.mark.parametrize("row", cases("transit", "safe_quantile"))
def test_safe_quantile_is_the_next_higher_time_seen(row: Row) -> None:
    row.check(safe_quantile(np.arange(1.0, row.inputs["count"] + 1), row.inputs["probability"]))


@pytest.mark.parametrize("row", cases("transit", "quantile_definition"))
def test_safe_quantile_is_later_than_other_definitions(row: Row) -> None:
    times, probability = np.arange(1.0, row.inputs["count"] + 1), row.inputs["probability"]
    row.check(float(np.quantile(times, probability, method=row.inputs["method"])))
    assert safe_quantile(times, probability) > row.value


@pytest.mark.parametrize("row", cases("transit", "prior_weight"))
def test_prior_of_a_lane_weighs_six_parcels(row: Row) -> None:
    row.check(transit_prior_weights(**row.inputs).sum())


@pytest.mark.parametrize("row", cases("transit", "prior_lost"))
def test_prior_of_a_lane_loses_one_in_a_hundred(row: Row) -> None:
    weights = transit_prior_weights(**row.inputs)
    row.check(weights[-1] / weights.sum())


@pytest.mark.parametrize("row", cases("transit", "prior_on_time"))
def test_three_parcels_in_four_keep_the_promise_plus_distance(row: Row) -> None:
    due = int(row.inputs["promised_days"] + row.inputs["distance_km"] / 10_000)
    weights = transit_prior_weights(**row.inputs)
    row.check(weights[:due].sum() / weights[:-1].sum())


@pytest.mark.parametrize("promised_days", [0.5, 1.0, 3.0, 10.0, 15.0])
@pytest.mark.parametrize("distance_km", [0.0, 1_500.0, 20_000.0])
def test_prior_is_the_shifted_gamma_cut_into_days(promised_days: float, distance_km: float) -> None:
    scale = (promised_days / 2.0 + distance_km / 10_000.0) / stats.gamma(2.0).ppf(0.75)
    expected = np.diff(stats.gamma(2.0, loc=promised_days / 2.0, scale=scale).cdf(np.arange(16)))
    expected[-1] += 1.0 - expected.sum()
    weights = transit_prior_weights(promised_days, distance_km)
    assert weights[:-1] == pytest.approx(6.0 * 0.99 * expected, abs=1e-12)


@given(
    promised=st.tuples(st.floats(0.5, 15.0), st.floats(0.5, 15.0)),
    distance=st.tuples(st.floats(0.0, 20_000.0), st.floats(0.0, 20_000.0)),
)
def test_prior_is_never_faster_for_a_longer_promise_or_distance(
    promised: tuple[float, float], distance: tuple[float, float]
) -> None:
    quick = np.cumsum(transit_prior_weights(min(promised), min(distance)))
    slow = np.cumsum(transit_prior_weights(max(promised), max(distance)))
    assert (slow <= quick + 1e-9).all()


def self_consistent(settled: FloatArray, under_way: list[int]) -> FloatArray:
    """Expectation and maximisation to rest: the rule as stated, without the closed form."""
    weights = settled.copy()
    cells = np.arange(settled.size)
    for _ in range(20_000):
        left = [np.where(cells >= days, weights, 0.0) for days in under_way]
        renewed = settled + sum((part / part.sum() for part in left), np.zeros(settled.size))
        if np.abs(renewed - weights).max() < 1e-15:
            break
        weights = renewed
    share: FloatArray = weights / weights.sum()
    return share


def enumerated(settled: FloatArray, under_way: list[int]) -> FloatArray:
    """Posterior mean over all ends of the parcels under way, weighted by Dirichlet-multinomial chance."""
    total, mean = 0.0, np.zeros(settled.size)
    for ends in product(*(range(days, settled.size) for days in under_way)):
        added = np.bincount(np.array(ends, dtype=np.int64), minlength=settled.size)
        chance = np.exp(sum(lgamma(a + b) - lgamma(a) for a, b in zip(settled, added, strict=True)))
        total += chance
        mean += chance * (settled + added) / (settled.sum() + len(ends))
    return mean / total


CENSORED = [[], [0], [1], [1, 2], [2, 2, 3], [0, 1, 3, 3]]


@pytest.mark.parametrize("under_way", CENSORED)
@pytest.mark.parametrize("delivered", [[0, 0, 0], [1, 4, 0], [0, 2, 5]])
def test_parcels_under_way_count_as_in_brute_force(under_way: list[int], delivered: list[float]) -> None:
    weights = padded([1.0, 2.5, 0.7], 0.3)
    transit = transit_predictive(weights, padded(delivered), 1, under_way)
    settled = np.array([1.0, 2.5, 0.7, 0.3]) + np.array([*delivered, 1.0])
    found = shares(transit)[[0, 1, 2, -1]]
    assert found == pytest.approx(enumerated(settled, under_way), abs=1e-12)
    assert found == pytest.approx(self_consistent(settled, under_way), abs=1e-9)


@given(
    weights=st.lists(st.floats(0.01, 5.0), min_size=16, max_size=16),
    delivered=st.lists(st.integers(0, 30), min_size=15, max_size=15),
    lost=st.integers(0, 5),
    under_way=st.lists(st.integers(0, 14), max_size=6),
)
def test_fixed_point_of_the_rule_is_found_in_full_size(
    weights: list[float], delivered: list[int], lost: int, under_way: list[int]
) -> None:
    prior, counts = np.array(weights), np.array(delivered, dtype=np.float64)
    share = shares(transit_predictive(prior, counts, lost, under_way))
    total = prior.sum() + counts.sum() + lost + len(under_way)
    renewed = prior + np.append(counts, lost)
    for days in under_way:
        left = np.where(np.arange(16) >= days, share, 0.0)
        renewed = renewed + left / left.sum()
    assert share == pytest.approx(renewed / total, abs=1e-9)


def test_a_parcel_just_sent_says_nothing() -> None:
    weights = transit_prior_weights(3.0, 1_000.0)
    expected = shares(transit_predictive(weights, NOTHING))
    assert shares(transit_predictive(weights, NOTHING, 0, [0, 0])) == pytest.approx(expected, abs=1e-12)


def test_a_parcel_out_for_weeks_stays_possible_but_is_feared_lost() -> None:
    weights = transit_prior_weights(3.0, 1_000.0)
    before = transit_predictive(weights, NOTHING)
    after = transit_predictive(weights, NOTHING, 0, [40])
    assert after.lost_probability > before.lost_probability
    assert after.day_probability[-1] > 0.0


def test_many_parcels_overrule_the_prior() -> None:
    transit = transit_predictive(transit_prior_weights(1.0, 100.0), 1_000.0 * (DAYS == 7))
    assert transit.day_probability[6] == pytest.approx(1.0, abs=0.01)
    assert arrival_quantile_days(transit, 0.5) == 7


def test_quantile_is_that_of_parcels_that_arrive() -> None:
    half_lost = Transit(padded([0.25, 0.25]), 0.5)
    assert arrival_quantile_days(half_lost, 0.5) == 1
    assert arrival_quantile_days(half_lost, 0.51) == 2
    assert arrival_quantile_days(half_lost, 1.0) == 2


def test_slow_case_takes_the_ninety_percent_day_for_certain() -> None:
    transit = transit_predictive(transit_prior_weights(5.0, 8_000.0), NOTHING)
    slow = slower(transit)
    day = arrival_quantile_days(transit, 0.9)
    expected = np.where(day == DAYS, 1.0 - transit.lost_probability, 0.0)
    assert slow.day_probability.tolist() == expected.tolist()
    assert slow.lost_probability == transit.lost_probability
    assert day > arrival_quantile_days(transit, 0.5)


@pytest.mark.parametrize("minimum", [0.0, 1.5])
def test_gamma_chance_and_quantile_undo_each_other(minimum: float) -> None:
    time = shifted_gamma_quantile(0.9, minimum, 2.0, 0.7)
    assert shifted_gamma_cumulative(time, minimum, 2.0, 0.7) == pytest.approx(0.9, abs=1e-12)
    assert shifted_gamma_cumulative(minimum, minimum, 2.0, 0.7) == 0.0


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: transit_prior_weights(0.0, 10.0), "promised_days is 0; allowed: 0.5 to 15."),
        (lambda: transit_prior_weights(3.0, -1.0), "distance_km is -1; allowed: 0 to 20100."),
        (
            lambda: transit_predictive(np.zeros(16), NOTHING),
            "prior_weights (sum) is 0; allowed: above 0.",
        ),
        (lambda: transit_predictive(np.ones(15), NOTHING), "prior_weights has shape (15,); allowed: (16,)."),
        (
            lambda: transit_predictive(np.ones(16), np.zeros(3)),
            "delivered_counts has shape (3,); allowed: (15,).",
        ),
        (
            lambda: transit_predictive(np.ones(16), NOTHING - 1.0),
            "delivered_counts is -1; allowed: 0 to 1e+09.",
        ),
        (
            lambda: transit_predictive(np.ones(16), NOTHING, 0, [-2]),
            "under_way_days is -2; allowed: 0 to 10000.",
        ),
        (
            lambda: arrival_quantile_days(Transit(NOTHING, 1.0), 0.5),
            "lost_probability is 1; allowed: 0 to 1.",
        ),
        (lambda: safe_quantile(np.array([]), 0.9), "number of times is 0; allowed: 1 to 1e+09."),
        (lambda: log_normal_time(48.0, 40.0, 0.95), "upper - median is -8; allowed: above 0."),
    ],
)
def test_impossible_input_is_refused_by_name(call: Any, sentence: str) -> None:
    with pytest.raises(ValueError) as refusal:
        call()
    assert str(refusal.value) == sentence


def test_chances_that_do_not_add_up_are_refused() -> None:
    with pytest.raises(ValueError, match=r"day_probability \+ lost_probability is 0\.9; allowed"):
        Transit(padded([0.5, 0.4]), 0.0)
