"""What a lot gives that waits for the bud, against seasons played out one by one."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from exchange.matching.bud_wait import BudWait
from exchange.matching.eligibility import compatibility
from exchange.science.bloom import Basis
from tests.matching.bud_season import KNOWN_BY, PAIRS, draw_season
from tests.matching.instance import (
    EVERY_DAY,
    TODAY,
    Instance,
    bloom,
    lane,
    lot,
    offer,
    random_pair,
    transit,
    wanted,
    window,
)
from tests.matching.simulation import simulate_at_the_bud

STANDARD_ERRORS = 4.0
SCENARIO_ERROR = 0.02
"""That a chance over 128 scenarios is off by, as a share of it (measured, judgement)."""


def waiting(pair: Instance) -> BudWait:
    wait = pair.planned().bud_wait
    assert wait is not None
    return wait


def in_hand(pair: Instance) -> Instance:
    """The pair with a lot from a refrigerator."""
    return replace(pair, offer=replace(pair.offer, lot=lot(5), treatment="dried", bloom=None))


def check_against_simulation(pair: Instance, seasons: int, seed: int) -> None:
    found = waiting(pair)
    posted, played = simulate_at_the_bud(pair, seasons=seasons, seed=seed)
    for shown, counted in ((found.posted_chance, posted), (found.each_promised, played.each_flower)):
        within = STANDARD_ERRORS * played.standard_error(counted) + SCENARIO_ERROR * counted
        assert shown == pytest.approx(counted, abs=within)


@pytest.mark.slow
@pytest.mark.parametrize("number", range(0, len(PAIRS), 2))
def test_it_is_what_twenty_thousand_seasons_of_growers_give(number: int) -> None:
    check_against_simulation(draw_season(number, number).pair, 20_000, number)


@pytest.mark.slow
@pytest.mark.parametrize("index", range(20))
def test_it_is_what_twenty_thousand_seasons_of_random_pairs_give(index: int) -> None:
    check_against_simulation(in_hand(random_pair(index)), 20_000, index)


@pytest.mark.parametrize("known_by", ["hemisphere", "said month"])
def test_it_is_what_some_seasons_give(known_by: str) -> None:
    check_against_simulation(draw_season(1, 7, (known_by,)).pair, 4_000, 7)


def test_it_is_what_some_seasons_of_a_night_bloomer_give() -> None:
    check_against_simulation(in_hand(random_pair(2)), 4_000, 2)


def sure(opens: float, **changes: float) -> Instance:
    """A lot a day from a seed parent that opens many flowers from a known day on, if it flowers at all."""
    many = {"rate_shape": 1e9, "rate_exposure_days": 1e8, "start_sd": 0.0, "end_sd": 0.0}
    known = window(opens, opens + 30.0, **{**many, **changes})
    way = lane(origin=EVERY_DAY, destination=EVERY_DAY, transit=transit(1.0), ambient_c=np.full(12, 20.0))
    return Instance(offer(lot=lot(3)), wanted(bloom=bloom(known)), way, TODAY)


def test_a_plant_that_flowers_in_half_of_the_years_gets_half_as_many_packets() -> None:
    always, rarely = waiting(sure(40.0)), waiting(sure(40.0, flowering_chance=0.5))
    assert always.posted_chance == pytest.approx(1.0, abs=1e-6)
    assert rarely.posted_chance == pytest.approx(0.5, abs=1e-6)
    assert rarely.each_posted.estimate == pytest.approx(always.each_posted.estimate, abs=1e-9)
    assert rarely.each_promised == pytest.approx(always.each_promised / 2.0, abs=1e-9)


def test_waiting_is_better_where_the_plant_may_not_flower_and_not_where_it_is_sure_to() -> None:
    always, rarely = (sure(40.0, flowering_chance=chance).planned() for chance in (1.0, 0.5))
    assert always.bud_wait is not None and rarely.bud_wait is not None
    assert not always.bud_wait.better
    assert always.bud_wait.each_posted.estimate < always.each_flower.estimate
    assert rarely.bud_wait.better
    assert rarely.bud_wait.each_posted.estimate > rarely.each_flower.estimate
    assert rarely.bud_wait.each_promised < rarely.each_flower.estimate


def test_the_range_holds_the_chance_and_stays_below_that_of_the_two_plants() -> None:
    pair = sure(40.0)
    each = waiting(pair).each_posted
    assert 0.0 <= each.low < each.estimate < each.high < 1.0
    assert each.estimate < compatibility(pair.wanted.parent, pair.offer.parent).mean


@pytest.mark.parametrize(
    "changes", [{}, {"lot": lot(3, "frozen"), "treatment": "frozen"}], ids=["on request", "from a freezer"]
)
def test_there_is_nothing_to_wait_with(changes: dict[str, Any]) -> None:
    pair = sure(40.0)
    plain = replace(pair, offer=offer(**changes))
    assert plain.planned().bud_wait is None


@pytest.mark.parametrize("basis", ["bud seen", "flower seen"])
def test_there_is_nothing_to_wait_for_once_a_bud_or_flower_was_seen(basis: Basis) -> None:
    pair = sure(4.0)
    assert pair.wanted.bloom is not None
    seen = replace(pair.wanted.bloom, window=replace(pair.wanted.bloom.window, basis=basis))
    assert replace(pair, wanted=replace(pair.wanted, bloom=seen)).planned().bud_wait is None


@pytest.mark.parametrize(
    "bound",
    [
        {"post_from": TODAY + timedelta(days=10)},
        {"post_until": TODAY + timedelta(days=60)},
        {"handling_days": 2},
    ],
    ids=str,
)
def test_a_packet_that_goes_by_way_of_a_third_grower_keeps_their_days(bound: dict[str, Any]) -> None:
    pair = sure(40.0)
    assert replace(pair, lane=replace(pair.lane, customs_delay_days=2, **bound)).planned().bud_wait is None


def test_every_link_of_the_chain_below_a_bud_may_wait() -> None:
    for number, known_by in enumerate(KNOWN_BY):
        assert draw_season(0, number, (known_by,)).pair.planned().bud_wait is not None
