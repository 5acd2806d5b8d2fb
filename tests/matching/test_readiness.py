"""When pollen on request is ready, and how long the freshest has rested."""

import math
from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest

from exchange.matching.readiness import (
    DonorClock,
    PostingDays,
    donor_clock,
    near_chance,
    posting_days,
    ready_chance,
)
from exchange.matching.side import Diel
from exchange.science.arrays import BoolArray, FloatArray
from exchange.science.business_day import ServiceCalendar
from exchange.science.viability import Treatment
from tests.matching.instance import EVERY_DAY, WEEKDAYS, lane, offer, parent

MONDAY = date(2026, 6, 1)
HALF = math.log(2.0)


def clock(
    days: tuple[int, int], treatment: Treatment = "fresh", *, diel: Diel = "day", same_day: bool = True
) -> DonorClock:
    first, last = days
    plant = parent(diel=diel, pollen_first_day=first, pollen_last_day=last)
    return donor_clock(offer(parent=plant, treatment=treatment), lane(collected_before_cut_off=same_day))


CLOCKS = {
    "hardy, fresh: net on day 1, collect and post on day 2": (clock((2, 3)), (1, 2, 0)),
    "collected after the post has left: a night at 4 °C": (clock((2, 3), same_day=False), (2, 2, 1)),
    "dried: a day more": (clock((2, 3), "dried"), (2, 2, 0)),
    "frozen is dried first": (clock((2, 3), "frozen"), (2, 2, 0)),
    "night bloomer: from the date after collection": (clock((2, 3), diel="night"), (2, 2, 1)),
    "night bloomer, dried": (clock((2, 3), "dried", diel="night"), (3, 2, 1)),
    "N. mexicana sheds on its second day only": (clock((2, 2)), (1, 1, 0)),
    "pollen of the first day waits until its flower is known": (clock((1, 2)), (1, 1, 0)),
    "N. thermarum sheds from the bud on: fresh, a night at 4 °C": (clock((0, 1)), (1, 1, 1)),
    "N. thermarum, dried": (clock((0, 1), "dried"), (1, 1, 0)),
    "N. thermarum, dried and collected late": (clock((0, 1), "dried", same_day=False), (1, 2, 1)),
}


@pytest.mark.parametrize("name", CLOCKS)
def test_clock_of_the_flower(name: str) -> None:
    found, expected = CLOCKS[name]
    assert (found.lag_days, found.shedding_days, found.rest_days) == expected


def test_a_weekend_leaves_three_days_to_monday() -> None:
    days = posting_days(lane(), MONDAY, 8)
    assert days.is_open.tolist() == [True] * 5 + [False] * 2 + [True]
    assert days.gap_days.tolist() == [3, 1, 1, 1, 1, 1, 2, 3]
    assert days.longest_gap == 3


def test_a_closed_week_is_counted() -> None:
    closed = frozenset(MONDAY + timedelta(days=day) for day in range(7, 12))
    days = posting_days(lane(origin=ServiceCalendar(closed_days=closed)), MONDAY, 15)
    assert days.gap_days[14] == 10


def test_a_post_long_closed_counts_as_closed_for_fourteen_days() -> None:
    shut = frozenset(MONDAY - timedelta(days=day) for day in range(1, 60))
    days = posting_days(lane(origin=ServiceCalendar((True,) * 7, closed_days=shut)), MONDAY, 2)
    assert days.gap_days.tolist() == [14, 1]


def test_without_an_open_day_nothing_is_ready() -> None:
    days = PostingDays(np.zeros(4, np.bool_), np.arange(1, 5))
    assert days.longest_gap == 1
    assert ready_chance(np.ones((2, 9)), 5, clock((2, 3)), days).sum() == 0.0


def test_one_flower_gives_pollen_on_its_shedding_days() -> None:
    # The flower opens on day 0 and sheds on days 1 and 2; dried pollen is ready a day later.
    rate = np.zeros((1, 16))
    rate[0, 10] = HALF
    days = posting_days(lane(origin=EVERY_DAY), MONDAY, 6)
    chance = ready_chance(rate, 10, clock((2, 3), "dried"), days)
    assert chance[:, 0] == pytest.approx([0.0, 0.0, 0.5, 0.5, 0.0, 0.0])


def test_over_a_weekend_the_freshest_pollen_is_taken() -> None:
    # Flowers of Friday and Saturday, each with even chances, shed on their second day only.
    rate = np.zeros((1, 18))
    rate[0, 10 + 4] = rate[0, 10 + 5] = HALF
    chance = ready_chance(rate, 10, clock((2, 2)), posting_days(lane(), MONDAY, 8))
    # Saturday's gives Sunday's pollen, one day old on Monday; Friday's gives Saturday's, two days old.
    assert chance[7] == pytest.approx([0.0, 0.5, 0.25])
    assert chance[:7].sum() == 0.0


def test_pollen_refused_on_an_open_day_is_not_offered_again() -> None:
    rate = np.zeros((1, 14))
    rate[0, 10] = HALF
    chance = ready_chance(rate, 10, clock((2, 2)), posting_days(lane(origin=EVERY_DAY), MONDAY, 4))
    assert chance[:, 0] == pytest.approx([0.0, 0.5, 0.0, 0.0])


def test_the_mean_over_scenarios_is_taken_last() -> None:
    rate = np.zeros((2, 14))
    rate[0, 10] = 2.0 * HALF
    chance = ready_chance(rate, 10, clock((2, 2)), posting_days(lane(origin=EVERY_DAY), MONDAY, 4))
    assert chance[1, 0] == pytest.approx(0.375)


def enumerate_ready(rate: FloatArray, lead: int, kept: DonorClock, days: PostingDays) -> FloatArray:
    """Every history of openings, weighed; the freshest pollen of each on each open day."""
    chance = np.zeros((days.is_open.size, days.longest_gap))
    for history in product((False, True), repeat=rate.size):
        weight = math.prod(
            1.0 - math.exp(-each) if seen else math.exp(-each)
            for each, seen in zip(rate, history, strict=True)
        )
        for day in np.flatnonzero(days.is_open):
            freshest = rests_of(np.array(history), lead + int(day), kept, int(days.gap_days[day]))
            if freshest is not None:
                chance[day, freshest] += weight
    return chance


def rests_of(history: BoolArray, day: int, kept: DonorClock, gap: int) -> int | None:
    shed = [
        day - (opening + kept.lag_days + later)
        for opening in np.flatnonzero(history).tolist()
        for later in range(kept.shedding_days)
    ]
    return min((rest for rest in shed if 0 <= rest < gap), default=None)


@pytest.mark.parametrize("lag", [1, 2])
@pytest.mark.parametrize("shedding", [1, 2])
def test_it_is_the_sum_over_all_histories_of_flowers(lag: int, shedding: int) -> None:
    days = posting_days(lane(), MONDAY + timedelta(days=3), 5)
    kept = DonorClock(lag_days=lag, shedding_days=shedding, handling_days=0, rest_days=0)
    lead = lag + shedding + days.longest_gap
    rate = np.random.default_rng(lag * 10 + shedding).uniform(0.0, 1.0, lead + 5)
    found = ready_chance(rate[None, :], lead, kept, days)
    assert found == pytest.approx(enumerate_ready(rate, lead, kept, days), abs=1e-12)


def test_ready_near_a_day_is_any_flower_that_serves_an_open_day_within_three() -> None:
    days = posting_days(lane(origin=WEEKDAYS), MONDAY, 12)
    kept, lead = clock((2, 3), "dried"), 10
    rate = np.random.default_rng(5).uniform(0.0, 0.3, (1, lead + 12))
    for day, found in enumerate(near_chance(rate, lead, kept, days)):
        near = [other for other in range(max(0, day - 3), min(12, day + 4)) if days.is_open[other]]
        serving = [
            opening
            for opening in range(lead + 12)
            if any(
                rests_of(np.arange(lead + 12) == opening, lead + other, kept, int(days.gap_days[other]))
                is not None
                for other in near
            )
        ]
        assert found == pytest.approx(1.0 - math.exp(-rate[0, serving].sum()), abs=1e-12)


def test_a_later_clock_never_makes_pollen_ready_sooner() -> None:
    days = posting_days(lane(origin=EVERY_DAY), MONDAY, 30)
    rate = np.concatenate([np.zeros((1, 20)), np.full((1, 20), 0.4)], axis=1)
    early, late = (
        ready_chance(rate, 10, replace(clock((2, 3)), lag_days=lag), days).sum(axis=1) for lag in (1, 2)
    )
    assert np.flatnonzero(late)[0] == np.flatnonzero(early)[0] + 1
