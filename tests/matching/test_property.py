"""What must hold of every pairing, whatever its numbers."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from exchange.matching import posting
from exchange.matching.effect import dispatch_age_days
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.side import Lane
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.live_effect import best_before_days, days_left, live_effect, live_effect_rates
from exchange.science.parcel import DEFAULT_PACKING, UNCOOLED_PACKING
from exchange.science.transit import MAX_BUSINESS_DAYS, Transit, slower
from exchange.science.viability import prior_draws, remaining_fraction
from tests.matching.instance import EVERY_DAY, TODAY, Instance, bloom, lane, lot, offer, wanted, window
from tests.matching.small_instance import small_model, small_pair

ROUNDING = 1e-12
quickly = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
pairs = st.integers(0, 99).map(small_pair)


@pytest.fixture
def _small() -> Iterator[None]:
    with small_model():
        yield


def worth(pair: Instance) -> FloatArray:
    """Worth of posting on each day; empty without flowers ahead."""
    if pair.flowers is None:
        return np.zeros(0)
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    return posting.central_value(pair.offer, pair.lane, course).mean


def good(pair: Instance, least: float) -> set[int]:
    """Days on which posting is worth at least so much: a fixed threshold."""
    return set(np.flatnonzero(worth(pair) >= least).tolist())


def later_by(transit: Transit, days: int) -> Transit:
    """Every parcel takes so many business days more."""
    share = transit.day_probability
    moved = np.append(np.zeros(days), share[: MAX_BUSINESS_DAYS - days])
    moved[-1] += share[MAX_BUSINESS_DAYS - days :].sum()
    return Transit(moved, transit.lost_probability)


def slowed(way: Lane, days: int) -> Lane:
    usual = later_by(way.transit, days)
    return replace(way, transit=usual, slow_transit=slower(usual))


@pytest.mark.usefixtures("_small")
@quickly
@given(pairs, st.floats(0.0, 25.0))
def test_heat_never_makes_a_day_good(pair: Instance, kelvin: float) -> None:
    hotter = replace(pair, lane=replace(pair.lane, ambient_c=np.minimum(pair.lane.ambient_c + kelvin, 60.0)))
    assert (worth(hotter) <= worth(pair) + ROUNDING).all()
    for least in (0.02, 0.1, 0.3):
        assert good(hotter, least) <= good(pair, least - ROUNDING)


@pytest.mark.usefixtures("_small")
@quickly
@given(pairs, st.integers(1, 4))
def test_slower_post_never_makes_a_day_good_where_the_parcel_is_no_cooler_than_the_store(
    pair: Instance, days: int
) -> None:
    store_c = constants.STORE_TEMPERATURE_C.value
    way = replace(pair.lane, packing=UNCOOLED_PACKING, ambient_c=np.maximum(pair.lane.ambient_c, store_c))
    usual, slow = replace(pair, lane=way), replace(pair, lane=slowed(way, days))
    assert (worth(slow) <= worth(usual) + ROUNDING).all()
    for least in (0.02, 0.1, 0.3):
        assert good(slow, least) <= good(usual, least - ROUNDING)


def test_on_ice_in_the_cold_pollen_may_keep_better_under_way_than_in_the_refrigerator() -> None:
    way = lane(origin=EVERY_DAY, destination=EVERY_DAY, packing=DEFAULT_PACKING, ambient_c=np.full(12, 5.0))
    usual = Instance(offer(lot=lot(0)), wanted(), way, TODAY)
    gain = worth(replace(usual, lane=slowed(way, 1))) - worth(usual)
    # A packet that waits for its flower at 0 °C instead of 4 °C: so little, and only long before the bloom.
    assert 0.0 < gain.max() < 0.005
    assert gain[30:].max() <= 0.0


@pytest.mark.usefixtures("_small")
@quickly
@given(pairs, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_higher_threshold_only_takes_days_away(pair: Instance, one: float, other: float) -> None:
    assert good(pair, max(one, other)) <= good(pair, min(one, other))


@pytest.mark.usefixtures("_small")
@quickly
@given(pairs)
def test_chances_are_chances(pair: Instance) -> None:
    plan = plan_pair(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    if not isinstance(plan, PairPlan):
        return
    told = plan.each_flower
    assert 0.0 <= told.low <= told.estimate <= told.high <= 1.0
    assert (
        told.estimate
        <= plan.compatibility.estimate * plan.posted_chance * (1.0 - plan.lost_chance) + ROUNDING
    )
    if plan.dates is not None:
        assert pair.lane.origin.is_open(plan.dates.post_on)
        assert plan.dates.post_on <= (plan.dates.not_later_than or plan.dates.post_on)


def in_bloom(donor: float, recipient: float) -> Instance:
    """A pair whose post works every day at one temperature, so that only bloom moves its dates."""
    return Instance(
        offer(bloom=bloom(window(donor, donor + 60.0), seed=21)),
        wanted(bloom=bloom(window(recipient, recipient + 60.0), seed=22)),
        lane(origin=EVERY_DAY, destination=EVERY_DAY, ambient_c=np.full(12, 25.0)),
        TODAY,
    )


def test_ten_days_later_bloom_of_both_moves_every_date_ten_days() -> None:
    now, later = in_bloom(20.0, 25.0).planned().dates, in_bloom(30.0, 35.0).planned().dates
    assert now is not None and later is not None
    ten = timedelta(days=10)
    assert later.post_on == now.post_on + ten
    assert now.not_later_than is not None and later.not_later_than == now.not_later_than + ten
    assert (later.good_first, later.good_last) == (now.good_first + ten, now.good_last + ten)
    assert later.decided_by == now.decided_by


@pytest.mark.parametrize("moved", ["donor", "recipient"])
def test_ten_days_later_first_bloom_of_either_never_moves_a_date_forward(moved: str) -> None:
    now = in_bloom(20.0, 25.0).planned().dates
    later = (in_bloom(30.0, 25.0) if moved == "donor" else in_bloom(20.0, 35.0)).planned().dates
    assert now is not None and later is not None
    assert now.not_later_than is not None and later.not_later_than is not None
    before = now.good_first, now.post_on, now.not_later_than, now.good_last
    after = later.good_first, later.post_on, later.not_later_than, later.good_last
    assert all(new >= old for old, new in zip(before, after, strict=True))
    assert after > before


def test_five_days_in_a_warm_room_is_past_best_before_yet_worth_trying() -> None:
    draws, rates = prior_draws("dried"), live_effect_rates()
    warm = dispatch_age_days("dried") + 5.0 * draws.q10**1.8
    early, _ = days_left(draws, rates, warm, constants.STORE_TEMPERATURE_C.value)
    assert early < 0.0
    left = live_effect(remaining_fraction(draws, warm[:, None]), rates)[:, 0].mean()
    assert left > constants.WORTH_TRYING_EFFECT.value


def test_a_lot_past_best_before_is_planned_with_its_chance() -> None:
    # As old as after five days at 22 °C: 4.1 days of drying and 21 in a refrigerator.
    best_before, _ = best_before_days(prior_draws("dried"), live_effect_rates())
    assert float(np.median(dispatch_age_days("dried"))) + 21.0 > best_before
    old, fresh = (
        Instance(
            offer(lot=lot(days)), wanted(bloom=bloom(window(2.0, 60.0), seed=12)), lane(), TODAY
        ).planned()
        for days in (21, 0)
    )
    assert old.dates is not None
    assert 0.05 < old.each_flower.estimate < fresh.each_flower.estimate
