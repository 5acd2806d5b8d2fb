"""One pairing planned: what is told, how precisely, and what is not."""

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from exchange.matching import posting
from exchange.matching.chance import Estimate
from exchange.matching.plan import PairPlan, pair_chance, plan_pair, precision, ranked
from exchange.matching.reason import Reason
from exchange.matching.side import Bloom
from tests.matching.instance import (
    EVERY_DAY,
    TODAY,
    Instance,
    bloom,
    lane,
    lot,
    offer,
    wanted,
    window,
)

ALL_YEAR = replace(window(0.0, 365.0), start_sd=0.0, end_sd=0.0, all_year=True)


@cache
def usual() -> PairPlan:
    return Instance(offer(doses=4), wanted(flowers=3), lane(), TODAY).planned()


def known(sd_days: float) -> Bloom:
    return bloom(window(30.0, 90.0, start_sd=sd_days), seed=12)


@pytest.mark.parametrize(
    ("donor_sd", "recipient_sd", "expected"),
    [(3.0, 3.0, "days"), (12.0, 12.0, "days"), (3.0, 12.5, "season"), (12.5, 3.0, "season")],
)
def test_weeks_are_told_where_either_bloom_is_known_no_better(
    donor_sd: float, recipient_sd: float, expected: str
) -> None:
    assert precision(offer(bloom=known(donor_sd)), known(recipient_sd)) == expected


def test_hours_are_told_only_of_a_lot_for_a_bloom_that_is_known() -> None:
    assert precision(offer(lot=lot(1)), known(3.0)) == "clock"
    assert precision(offer(lot=lot(1)), known(20.0)) == "season"


def test_a_plant_without_season_is_known() -> None:
    assert precision(offer(bloom=bloom(ALL_YEAR)), bloom(ALL_YEAR)) == "days"


def test_a_range_holds_its_chance_and_rests_on_something() -> None:
    plan = usual()
    for told in (plan.each_flower, plan.several, plan.compatibility):
        assert 0.0 <= told.low <= told.estimate <= told.high <= 1.0
    assert (plan.donor_basis, plan.recipient_basis) == ("records", "records")
    assert plan.reasons[0].code == "groups_on_record"


def test_the_chance_is_compatibility_times_what_following_the_table_is_worth() -> None:
    pair = Instance(offer(), wanted(), lane(), TODAY)
    assert pair.flowers is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    central = posting.values(pair.offer, pair.lane, course)["central"]
    followed = posting.follow(pair.offer, pair.lane, course, central)
    # Hardy by hardy: Beta(1.5, 3.5).
    assert pair.planned().each_flower.estimate == pytest.approx(0.3 * followed.value)
    assert pair_chance(pair.offer, pair.wanted, pair.lane, TODAY, pair.flowers) == pytest.approx(
        0.3 * followed.value
    )


def test_flowers_are_as_many_as_there_are_doses_and_wishes() -> None:
    assert usual().flowers == 3
    assert usual().several.estimate > usual().each_flower.estimate
    assert len(usual().dose_chances) == 3
    assert usual().dose_chances[0] == usual().each_flower.estimate


def test_dates_stand_in_order() -> None:
    dates = usual().dates
    assert dates is not None and dates.not_later_than is not None
    assert TODAY <= dates.post_on <= dates.not_later_than
    assert dates.good_first <= dates.good_last
    assert dates.post_on < dates.arrival_half <= dates.arrival_nine_tenths
    assert dates.post_on.weekday() < 5


def test_the_lost_are_told() -> None:
    assert usual().lost_chance == pytest.approx(0.01)
    assert 0.9 < usual().posted_chance <= 1.0


def test_where_both_flower_all_year_there_is_no_deadline_this_season() -> None:
    pair = Instance(
        offer(bloom=bloom(ALL_YEAR, seed=3)),
        wanted(bloom=bloom(ALL_YEAR, seed=4)),
        lane(origin=EVERY_DAY, destination=EVERY_DAY, ambient_c=np.full(12, 25.0)),
        TODAY,
    )
    dates = pair.planned().dates
    assert dates is not None
    assert dates.post_on == TODAY
    assert dates.not_later_than is None
    assert dates.good_last == TODAY + timedelta(days=120)


def test_a_donor_too_seldom_in_flower_is_given_no_day() -> None:
    rare = bloom(window(40.0, 46.0, start_sd=20.0, flowering_chance=0.1, rate_exposure_days=30.0), seed=5)
    plan = Instance(offer(bloom=rare), wanted(), lane(), TODAY).planned()
    assert plan.dates is None
    assert plan.likeliest_posting > TODAY
    assert plan.posted_chance < 0.1


def test_what_cannot_meet_is_told_not_planned() -> None:
    gone = Instance(offer(), wanted(bloom=bloom(window(-200.0, -120.0))), lane(), TODAY)
    assert plan_pair(gone.offer, gone.wanted, gone.lane, TODAY, gone.flowers) == Reason(
        "seed_parent_not_in_bloom_ahead", {"days": 270}
    )
    apart = Instance(
        offer(bloom=bloom(window(150.0, 160.0, start_sd=0.5, end_sd=0.5))),
        wanted(bloom=bloom(window(10.0, 30.0, start_sd=0.5, end_sd=0.5))),
        lane(),
        TODAY,
    )
    assert plan_pair(apart.offer, apart.wanted, apart.lane, TODAY, apart.flowers) == Reason(
        "bloom_does_not_meet", {"days": 270}
    )
    assert pair_chance(gone.offer, gone.wanted, gone.lane, TODAY, gone.flowers) == 0.0


def test_planning_needs_the_recipients_forecast() -> None:
    with pytest.raises(ValueError, match="bloom of wanted is missing; allowed: a forecast"):
        plan_pair(offer(), wanted(bloom=None), lane(), TODAY, None)


def with_chance(chance: float) -> PairPlan:
    return replace(usual(), each_flower=Estimate(chance, 0.0, 1.0))


def test_plans_stand_by_chance_and_equal_ones_by_key() -> None:
    plans = {
        "c": with_chance(0.2),
        "b": with_chance(0.3000001),
        "a": with_chance(0.3),
        "d": with_chance(0.300002),
    }
    assert ranked(plans) == ["d", "a", "b", "c"]


def test_today_may_be_the_last_day_of_a_year() -> None:
    today = date(2026, 12, 31)
    donor, seed = (bloom(window(*days, origin=today), seed=6) for days in ((-5.0, 40.0), (0.0, 60.0)))
    plan = Instance(offer(bloom=donor), wanted(bloom=seed), lane(), today).planned()
    assert plan.dates is not None and plan.dates.arrival_half.year == 2027
