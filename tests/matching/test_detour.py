"""The lane by way of a third grower: against every way both legs may go, and what is true of all of them."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.matching.arrival import journey
from exchange.matching.detour import detour_lane, one_after_the_other, posting_span
from exchange.matching.plan import PairPlan, pair_chance, plan_pair
from exchange.matching.posting import recipient_flowers
from exchange.matching.readiness import posting_days
from exchange.matching.reason import Reason
from exchange.science.business_day import ServiceCalendar, delivery_date
from exchange.science.transit import MAX_BUSINESS_DAYS, Transit, arrival_quantile_days
from tests.matching.instance import TODAY, WEEKDAYS, lane, lot, offer, wanted

MONDAY = date(2026, 6, 1)
EXACT = 1e-12
weights = st.lists(st.floats(0.0, 1.0), min_size=MAX_BUSINESS_DAYS + 1, max_size=MAX_BUSINESS_DAYS + 1)
transits = weights.filter(lambda parts: sum(parts[:-1]) > 0.01).map(lambda parts: made(np.array(parts)))


def made(parts: np.ndarray) -> Transit:
    shares = parts / parts.sum()
    return Transit(shares[:-1], float(shares[-1]))


@given(transits, transits)
def test_both_legs_by_every_way_they_may_go(first: Transit, second: Transit) -> None:
    days, lost = [0.0] * MAX_BUSINESS_DAYS, 0.0
    outcomes = [*range(1, MAX_BUSINESS_DAYS + 1), None]
    chances = [[*leg.day_probability, leg.lost_probability] for leg in (first, second)]
    for one, other in product(outcomes, outcomes):
        both = chances[0][outcomes.index(one)] * chances[1][outcomes.index(other)]
        if one is None or other is None:
            lost += both
        else:
            days[min(one + other, MAX_BUSINESS_DAYS) - 1] += both
    found = one_after_the_other(first, second)
    assert found.day_probability == pytest.approx(days, abs=EXACT)
    assert found.lost_probability == pytest.approx(lost, abs=EXACT)


@given(transits, transits)
def test_never_earlier_than_the_first_leg_and_never_fewer_lost(first: Transit, second: Transit) -> None:
    found = one_after_the_other(first, second)
    come, alone = (np.cumsum(each.day_probability) for each in (found, first))
    assert (come <= alone + EXACT).all()
    assert found.day_probability[0] == 0.0
    assert found.lost_probability >= max(first.lost_probability, second.lost_probability) - EXACT
    assert one_after_the_other(second, first).day_probability == pytest.approx(found.day_probability)


def test_the_lane_has_the_outer_ends_and_the_worse_of_what_is_between() -> None:
    first = lane(customs_delay_days=2, ambient_c=np.arange(12.0), collected_before_cut_off=False)
    shut = ServiceCalendar(closed_days=frozenset({MONDAY}))
    second = lane(destination=shut, ambient_c=np.full(12, 5.0), delivery_before_opening=True)
    found = detour_lane(first, second, 3)
    assert (found.origin, found.destination) == (WEEKDAYS, shut)
    assert (found.customs_delay_days, found.handling_days) == (5, 3)
    assert found.ambient_c.tolist() == [5.0] * 6 + [6.0, 7.0, 8.0, 9.0, 10.0, 11.0]
    assert (found.collected_before_cut_off, found.delivery_before_opening) == (False, True)
    assert found.slow_transit.lost_probability == found.transit.lost_probability
    assert found.slow_transit.day_probability.max() == pytest.approx(1 - found.transit.lost_probability)


@pytest.mark.parametrize("days", [-1, 15])
def test_days_of_handling_are_bounded(days: int) -> None:
    with pytest.raises(ValueError, match=r"^handling_days is -?\d+; allowed: 0 to 14\.$"):
        detour_lane(lane(), lane(), days)


@given(st.integers(0, 14), st.integers(0, 20))
def test_days_of_handling_are_spent_in_a_refrigerator(handling: int, start: int) -> None:
    way = detour_lane(lane(), lane(), handling)
    first = MONDAY + timedelta(days=start)
    there = journey(way, first, 10, night_opening=False)
    direct = journey(lane(), first, 10, night_opening=False)
    days = np.arange(10)[:, None]
    assert (there.delivery_day >= direct.delivery_day).all()
    assert (there.parcel_days == there.delivery_day - days - handling).all()
    assert (there.parcel_days >= 1).all()
    assert there.waiting_days == 1 + handling
    assert (there.usable_day == there.delivery_day + 1).all()


@given(st.integers(0, 30), st.integers(0, 30), st.integers(0, 6))
def test_days_of_posting_are_those_that_reach_the_days_asked_for(begin: int, length: int, now: int) -> None:
    way, today = lane(customs_delay_days=2), MONDAY + timedelta(days=now)
    wanted_from = MONDAY + timedelta(days=begin)
    wanted_until = wanted_from + timedelta(days=length)
    half = arrival_quantile_days(way.transit, 0.5)

    def comes(day: date) -> date:
        return delivery_date(way.origin, way.destination, day, half, customs_delay_days=2)

    days = [today + timedelta(days=day) for day in range(80)]
    inside = [day for day in days if wanted_from <= comes(day) <= wanted_until]
    expected = (inside[0], inside[-1]) if inside else None
    assert posting_span(way, today, wanted_from, wanted_until) == expected


def test_only_days_within_the_bounds_are_open_to_posting() -> None:
    bounded = lane(post_from=MONDAY + timedelta(days=2), post_until=MONDAY + timedelta(days=4))
    days = posting_days(bounded, MONDAY, 10)
    assert np.flatnonzero(days.is_open).tolist() == [2, 3, 4]
    assert days.gap_days.tolist() == posting_days(lane(), MONDAY, 10).gap_days.tolist()


def test_a_plan_by_way_of_a_third_grower_is_the_same_engines() -> None:
    given_pollen, cross = offer(lot=lot(2)), wanted()
    flowers = recipient_flowers(cross.bloom, TODAY) if cross.bloom else None
    way = detour_lane(lane(customs_delay_days=2), lane(), 3)
    direct, by_way = (plan_pair(given_pollen, cross, each, TODAY, flowers) for each in (lane(), way))
    assert isinstance(direct, PairPlan)
    assert isinstance(by_way, PairPlan)
    assert 0.0 < by_way.each_flower.estimate < direct.each_flower.estimate
    assert by_way.lost_chance == pytest.approx(1 - 0.99**2)
    warm = replace(way, handling_days=0)  # the same days, but in the parcel
    assert pair_chance(given_pollen, cross, warm, TODAY, flowers) < by_way.each_flower.estimate
    assert by_way.dates is not None
    assert by_way.dates.arrival_half > by_way.dates.post_on + timedelta(days=5)


def test_no_plan_where_no_day_may_be_posted_on() -> None:
    given_pollen, cross = offer(lot=lot(2)), wanted()
    flowers = recipient_flowers(cross.bloom, TODAY) if cross.bloom else None
    past = replace(lane(), post_until=TODAY - timedelta(days=1))
    assert isinstance(plan_pair(given_pollen, cross, past, TODAY, flowers), Reason)
    assert pair_chance(given_pollen, cross, past, TODAY, flowers) == 0.0
