"""The bud call against posting by forecast, over seasons of five growers on the same draws.

In the model a packet ages alike in both growers' refrigerators. So the forecast, which posts a lot almost at
once, has it at hand for the first flower, and the bud call, which comes four days before that flower, misses
a week of bloom. But a packet posted to a plant that does not bloom is lost, and one that waits is not: the
engine reckons both, and its plan says for each pair which gives more from a dose posted. Growers who follow
the plan get more from a hundred doses posted than those who post all by the forecast.
"""

from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest
from scipy import stats

from exchange.science import constants
from tests.matching.bud_season import (
    Growers,
    Harvest,
    Policy,
    Season,
    by_bud_call,
    by_forecast,
    by_plan,
    capsules_of,
    draw_season,
    play,
)
from tests.matching.instance import EVERY_DAY
from tests.matching.simulation import NEVER, deliver

SEEDS = 20
FEW = 4
USUAL = Growers()
HEMISPHERE = Growers(known_by=("hemisphere",))
WARM = Growers(waiting_c=constants.DRYING_TEMPERATURE_C.value)
FIVE_PAIRS = (0, 4, 8, 12, 16)
"""The first of each giver; with five of them each link of the chain is true of one."""
MEASURES = ("of_100_posted", "of_100_agreed")
LATE_DAYS = 10
LONGEST_WAY_DAYS = 20


def ten_days_late(season: Season) -> int:
    day = by_bud_call(season)
    return NEVER if day == NEVER else day + LATE_DAYS


@cache
def harvests(policy: Policy, growers: Growers, seeds: int) -> list[Harvest]:
    return [play(seed, policy, growers) for seed in range(seeds)]


def gained(better: Policy, than: Policy, growers: Growers, seeds: int, of: str) -> list[float]:
    """Capsules from 100 doses that one policy gives more than another, season by season."""
    pairs = zip(harvests(better, growers, seeds), harvests(than, growers, seeds), strict=True)
    return [getattr(first, of) - getattr(second, of) for first, second in pairs]


def interval(policy: Policy, growers: Growers, of: str) -> tuple[float, float]:
    """The 95 % interval of what a policy gains over posting by forecast, over twenty seasons."""
    gains = gained(policy, by_forecast, growers, SEEDS, of)
    low, high = stats.t.interval(0.95, SEEDS - 1, loc=np.mean(gains), scale=stats.sem(gains))
    mean = np.mean([getattr(one, of) for one in harvests(by_forecast, growers, SEEDS)])
    told = f"by forecast {mean:.2f}, {policy.__name__} {np.mean(gains):+.2f}, {low:.2f} to {high:.2f}"
    known_by = ", ".join(growers.known_by)
    print(f"{known_by}; kept at {growers.waiting_c} °C; {of}: {told}")  # noqa: T201
    return float(low), float(high)


@pytest.mark.slow
def test_waiting_for_the_bud_where_the_plan_says_so_gives_more_from_doses_posted() -> None:
    assert interval(by_plan, USUAL, "of_100_posted")[0] > 0.0


@pytest.mark.slow
def test_of_doses_agreed_on_some_more_stay_in_the_donors_store() -> None:
    assert interval(by_plan, USUAL, "of_100_agreed")[1] < 0.0


@pytest.mark.slow
@pytest.mark.parametrize("of", MEASURES)
def test_waiting_for_every_bud_gives_less_than_posting_all_by_forecast(of: str) -> None:
    assert interval(by_bud_call, USUAL, of)[1] < 0.0


@pytest.mark.slow
@pytest.mark.parametrize("of", MEASURES)
def test_every_bud_call_gives_more_where_recipients_keep_pollen_in_a_room(of: str) -> None:
    assert interval(by_bud_call, WARM, of)[0] > 0.0


@pytest.mark.slow
def test_with_nothing_known_but_the_hemisphere_doses_posted_do_more_and_doses_agreed_less() -> None:
    assert interval(by_bud_call, HEMISPHERE, "of_100_posted")[0] > 0.0
    assert interval(by_bud_call, HEMISPHERE, "of_100_agreed")[1] < 0.0


def test_few_seasons_show_the_same_and_later_is_worse() -> None:
    usual, warm, unknown = (replace(growers, pairs=FIVE_PAIRS) for growers in (USUAL, WARM, HEMISPHERE))
    assert np.mean(gained(by_plan, by_forecast, unknown, FEW, "of_100_posted")) > 0.0
    assert np.mean(gained(by_plan, by_bud_call, usual, FEW, "of_100_posted")) > 0.0
    assert np.mean(gained(by_bud_call, by_forecast, usual, FEW, "of_100_agreed")) < 0.0
    assert np.mean(gained(by_bud_call, by_forecast, warm, FEW, "of_100_agreed")) > 0.0
    for growers in (usual, warm):
        assert np.mean(gained(ten_days_late, by_bud_call, growers, FEW, "of_100_agreed")) < 0.0


def test_both_policies_meet_the_same_season_and_the_same_parcels() -> None:
    for number in FIVE_PAIRS:
        one, other = (draw_season(3, number, ("records",)) for _ in range(2))
        days = [by_forecast(one), by_bud_call(other)]
        np.testing.assert_array_equal(one.flowers, other.flowers)
        np.testing.assert_array_equal(one.bud, other.bud)
        lost = [deliver(one.rng(2), one.pair, np.full(500, day)) == NEVER for day in days]
        np.testing.assert_array_equal(*lost)
        assert 0 < lost[0].sum() < 50


def test_a_packet_that_is_there_before_the_first_flower_does_as_well_whenever_it_was_posted() -> None:
    found = []
    for number in FIVE_PAIRS:
        drawn = draw_season(2, number, ("exactly",))
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
    season = next(one for one in (draw_season(0, number) for number in FIVE_PAIRS) if one.bud.any())
    seen, day = int(season.bud.argmax()), by_bud_call(season)
    assert seen < day <= seen + constants.LONGEST_CLOSED_RUN_DAYS.value
    assert season.pair.lane.origin.is_open(season.pair.today + timedelta(days=day))
    assert season.flowers[seen + 1 :].any()
    assert by_bud_call(replace(season, bud=np.zeros_like(season.bud))) == NEVER
