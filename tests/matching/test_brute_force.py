"""The engine against the definition taken literally, on small random pairs of every kind."""

from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import pytest

from exchange.matching import posting
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.readiness import donor_clock
from tests.matching.brute_dates import CASES, BruteDates
from tests.matching.instance import Instance
from tests.matching.small_instance import KINDS, small_model, small_pair

TOLERANCE = 1e-6
FEW = (10, 11, 2, 13, 14, 5, 6, 7, 18, 19)


@pytest.fixture(autouse=True)
def _small() -> Iterator[None]:
    with small_model():
        yield


def plan_of(pair: Instance) -> PairPlan | None:
    plan = plan_pair(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    return plan if isinstance(plan, PairPlan) else None


def compare(index: int) -> None:
    pair = small_pair(index)
    brute, plan = BruteDates(pair), plan_of(pair)
    if plan is None:
        assert brute.last_flower_day < 0 or brute.followed_value == 0.0
        return
    assert plan.each_flower.estimate == pytest.approx(brute.chance, abs=TOLERANCE)
    assert plan.posted_chance == pytest.approx(sum(brute.posted.values()), abs=TOLERANCE)
    compare_days(pair, brute)
    compare_dates(pair, brute, plan)


def compare_days(pair: Instance, brute: BruteDates) -> None:
    assert pair.flowers is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    values = posting.values(pair.offer, pair.lane, course)
    assert course.days.is_open.size == brute.days
    base = 0 if pair.offer.lot else donor_clock(pair.offer, pair.lane).rest_days
    for day in range(brute.days):
        expected = np.zeros(course.ready.shape[1])
        for rest, chance in brute.ready(day).items():
            expected[rest - base] = chance
        assert course.ready[day] == pytest.approx(expected, abs=TOLERANCE)
        for case in CASES if day in brute.candidates else CASES[:1]:
            assert values[case].mean[day] == pytest.approx(brute.mean_worth(case, day), abs=TOLERANCE)


def compare_dates(pair: Instance, brute: BruteDates, plan: PairPlan) -> None:
    told = brute.dates
    assert (plan.dates is None) == (told is None)
    if plan.dates is None or told is None:
        return
    last = None if told.not_later_than is None else pair.today + timedelta(days=told.not_later_than)
    assert plan.dates.post_on == pair.today + timedelta(days=told.post_on)
    assert plan.dates.not_later_than == last
    assert plan.dates.decided_by == told.decided_by
    assert plan.dates.send_at_once == told.send_at_once


@pytest.mark.parametrize("index", FEW, ids=lambda index: KINDS[index % 10])
def test_engine_is_the_definition(index: int) -> None:
    compare(index)


@pytest.mark.slow
@pytest.mark.parametrize("index", range(100))
def test_engine_is_the_definition_on_a_hundred_pairs(index: int) -> None:
    compare(index)
