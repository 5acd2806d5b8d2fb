"""Several doses of one packet: common draws, so never as much as independent ones."""

from functools import cache

import numpy as np
import pytest

from exchange.matching import posting
from exchange.matching.chance import Estimate
from exchange.matching.plan import PairPlan
from exchange.matching.several import (
    DRAWS,
    LEAST_TRANSIT_CHANCE,
    arrivals,
    several_flowers,
    some_scenarios,
)
from exchange.science.bloom_scenario import bloom_scenarios, daily_rate
from tests.matching.instance import TODAY, Instance, lane, lot, offer, transit, wanted, window


@cache
def plan_of(doses: int, in_hand: bool) -> PairPlan:
    given = offer(doses=doses, lot=lot(2)) if in_hand else offer(doses=doses)
    pair = Instance(given, wanted(flowers=doses), lane(), TODAY)
    return pair.planned()


@pytest.mark.parametrize("in_hand", [True, False])
def test_one_dose_is_each_flower(in_hand: bool) -> None:
    assert plan_of(1, in_hand).several == plan_of(1, in_hand).each_flower


@pytest.mark.parametrize("in_hand", [True, False])
def test_more_doses_help_but_never_by_their_number(in_hand: bool) -> None:
    each = plan_of(1, in_hand).each_flower.estimate
    chances = [plan_of(doses, in_hand).several.estimate for doses in (1, 2, 3, 4)]
    gains = np.diff(chances)
    assert (gains > 0.0).all()
    assert (np.diff(gains) < 0.0).all()
    assert chances[3] < 4.0 * each


@pytest.mark.parametrize("in_hand", [True, False])
@pytest.mark.parametrize("doses", [2, 4])
def test_independence_overstates(doses: int, in_hand: bool) -> None:
    plan = plan_of(doses, in_hand)
    independent = 1.0 - np.prod([1.0 - chance for chance in plan.dose_chances])
    assert plan.several.estimate < independent - 0.01


def test_a_pair_that_always_takes_needs_only_one_flower() -> None:
    pair = Instance(offer(doses=3, lot=lot(2)), wanted(), lane(), TODAY)
    assert pair.flowers is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, TODAY, pair.flowers)
    followed = posting.follow(
        pair.offer, pair.lane, course, posting.central_value(pair.offer, pair.lane, course)
    )
    nothing = np.zeros(4000)
    each = Estimate(0.0, 0.0, 0.0)
    assert several_flowers(pair.offer, pair.lane, course, followed, nothing, each, 3) == each


def test_rare_days_of_delivery_are_left_out_unless_asked_for() -> None:
    way = lane(transit=transit(0.0, 0.6, 0.3, 0.04, 0.05, lost=0.01))
    pair = Instance(offer(lot=lot(2)), wanted(), way, TODAY)
    assert pair.flowers is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, TODAY, pair.flowers)
    takes = np.ones(DRAWS)
    likely, all_days = (
        arrivals(pair.offer, pair.lane, course, 0, takes, least_share=share)
        for share in (LEAST_TRANSIT_CHANCE, 1e-9)
    )
    assert [arrival.chance for arrival in likely] == [0.6, 0.3, 0.05]
    assert [arrival.chance for arrival in all_days] == [0.6, 0.3, 0.04, 0.05]
    usual = arrivals(pair.offer, pair.lane, course, 0, takes)
    assert [arrival.chance for arrival in usual] == [0.6, 0.3, 0.05]


def test_some_scenarios_stand_for_all_of_them() -> None:
    known = window(30.0, 150.0, start_sd=10.0)
    for seed in range(5):
        scenarios = bloom_scenarios(known, seed=seed)
        rate = daily_rate(scenarios, TODAY, 120)
        some = some_scenarios(rate)
        first_day = (some > 0.0).argmax(axis=1)
        # A run of one corner of the points would begin to one side of the mean.
        assert abs(first_day.mean() - 30.0) < 5.0
        assert first_day.std() > 6.0
