"""The bud call against posting by forecast, over seasons of five growers on the same draws.

In the model a packet ages alike in both growers' refrigerators. So the forecast, which posts a lot almost at
once, has it at hand for the first flower, and the bud call, which comes four days before that flower, misses
a week of bloom. Of what was tried, it pays where recipients keep pollen warm, which the forecast does not
know, and for each dose posted, not for each agreed, where many plants do not bloom at all.
"""

from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest
from scipy import stats

from exchange.science import constants
from tests.matching.bud_season import (
    PLACES,
    Harvest,
    Policy,
    Ring,
    Season,
    by_bud_call,
    by_forecast,
    capsules_of,
    draw_season,
    play,
)
from tests.matching.instance import EVERY_DAY
from tests.matching.simulation import NEVER, deliver

SEEDS = 20
FEW = 4
EXACTLY = Ring(known_by=("exactly",))
HEMISPHERE = Ring(known_by=("hemisphere",))
WARM = Ring(waiting_c=constants.DRYING_TEMPERATURE_C.value)
POLICIES = (by_forecast, by_bud_call)
LATE_DAYS = 10
LONGEST_WAY_DAYS = 20


def ten_days_late(season: Season) -> int:
    day = by_bud_call(season)
    return NEVER if day == NEVER else day + LATE_DAYS


@cache
def harvests(policy: Policy, ring: Ring, seeds: int) -> list[Harvest]:
    return [play(seed, policy, ring) for seed in range(seeds)]


def gained(better: Policy, than: Policy, ring: Ring, seeds: int, of: str) -> list[float]:
    """Capsules from 100 doses that one policy gives more than another, season by season."""
    pairs = zip(harvests(better, ring, seeds), harvests(than, ring, seeds), strict=True)
    return [getattr(first, of) - getattr(second, of) for first, second in pairs]


def interval(ring: Ring, of: str) -> tuple[float, float]:
    """The 95 % interval of what the bud call gains over the forecast, over twenty seasons."""
    gains = gained(by_bud_call, by_forecast, ring, SEEDS, of)
    low, high = stats.t.interval(0.95, SEEDS - 1, loc=np.mean(gains), scale=stats.sem(gains))
    means = [np.mean([getattr(one, of) for one in harvests(policy, ring, SEEDS)]) for policy in POLICIES]
    told = "by forecast {:.2f}, by bud call {:.2f}".format(*means)
    print(f"{ring} {of}: {told}, gain {np.mean(gains):.2f}, {low:.2f} to {high:.2f}")  # noqa: T201
    return float(low), float(high)


@pytest.mark.slow
@pytest.mark.parametrize("of", ["of_100_posted", "of_100_agreed"])
def test_with_cold_stores_at_both_ends_posting_by_forecast_gives_more(of: str) -> None:
    assert interval(Ring(), of)[1] < 0.0


@pytest.mark.slow
@pytest.mark.parametrize("of", ["of_100_posted", "of_100_agreed"])
def test_the_bud_call_gives_more_where_recipients_keep_pollen_in_a_room(of: str) -> None:
    assert interval(WARM, of)[0] > 0.0


@pytest.mark.slow
def test_with_nothing_known_but_the_hemisphere_doses_posted_do_more_and_doses_agreed_less() -> None:
    assert interval(HEMISPHERE, "of_100_posted")[0] > 0.0
    assert interval(HEMISPHERE, "of_100_agreed")[1] < 0.0


def test_few_seasons_show_the_same_and_later_is_worse() -> None:
    assert np.mean(gained(by_bud_call, by_forecast, Ring(), FEW, "of_100_posted")) < 0.0
    assert np.mean(gained(by_bud_call, by_forecast, WARM, FEW, "of_100_agreed")) > 0.0
    for ring in (Ring(), WARM):
        assert np.mean(gained(ten_days_late, by_bud_call, ring, FEW, "of_100_agreed")) < 0.0


def test_both_policies_meet_the_same_season_and_the_same_parcels() -> None:
    for giver in range(len(PLACES)):
        one, other = (draw_season(3, giver) for _ in range(2))
        days = [by_forecast(one), by_bud_call(other)]
        np.testing.assert_array_equal(one.flowers, other.flowers)
        np.testing.assert_array_equal(one.bud, other.bud)
        lost = [deliver(one.rng(2), one.pair, np.full(500, day)) == NEVER for day in days]
        np.testing.assert_array_equal(*lost)
        assert 0 < lost[0].sum() < 50


def test_a_packet_that_is_there_before_the_first_flower_does_as_well_whenever_it_was_posted() -> None:
    found = []
    for giver in range(len(PLACES)):
        drawn = draw_season(2, giver, EXACTLY)
        alike = replace(drawn.pair.lane, origin=EVERY_DAY, destination=EVERY_DAY, ambient_c=np.full(12, 20.0))
        season = replace(drawn, pair=replace(drawn.pair, lane=alike))
        first = int(np.argmax(season.flowers > 0))
        if first > LONGEST_WAY_DAYS:
            days = (0, first - LONGEST_WAY_DAYS, first)
            found.append([capsules_of(season, day) for day in days])
    early, in_time, late = np.array(found).T
    assert early.size >= 3
    np.testing.assert_array_equal(early, in_time)
    assert in_time.sum() > late.sum()


def test_the_donor_posts_on_an_open_day_after_the_bud_and_never_without_one() -> None:
    season = next(one for one in (draw_season(0, giver) for giver in range(len(PLACES))) if one.bud.any())
    seen, day = int(season.bud.argmax()), by_bud_call(season)
    assert seen < day <= seen + constants.LONGEST_CLOSED_RUN_DAYS.value
    assert season.pair.lane.origin.is_open(season.pair.today + timedelta(days=day))
    assert season.flowers[seen + 1 :].any()
    assert by_bud_call(replace(season, bud=np.zeros_like(season.bud))) == NEVER
