"""From forecasts and lane to the worth of each posting day, for lots and for pollen on request."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from exchange.matching import posting
from exchange.matching.decision import decide, states_of
from exchange.matching.flower_weight import first_use_weights
from exchange.matching.readiness import donor_clock
from exchange.matching.side import Lane, PollenOffer
from exchange.science import constants
from exchange.science.bloom_scenario import daily_rate
from exchange.science.business_day import ServiceCalendar
from tests.matching.instance import EVERY_DAY, TODAY, Instance, bloom, lane, lot, offer, wanted, window


def laid_out(given: PollenOffer, way: Lane | None = None) -> tuple[Instance, posting.Course]:
    pair = Instance(given, wanted(), way or lane(), TODAY)
    assert pair.flowers is not None
    return pair, posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)


def test_a_recipient_without_flowers_ahead_has_none() -> None:
    assert posting.recipient_flowers(bloom(window(-200.0, -120.0)), TODAY) is None


def test_flowers_are_followed_to_the_last_one() -> None:
    known = bloom(window(30.0, 90.0), seed=12)
    flowers = posting.recipient_flowers(known, TODAY)
    assert flowers is not None
    rate = daily_rate(known.scenarios, TODAY, 330)
    assert flowers.rate[:, -1].any()
    assert flowers.rate == pytest.approx(rate[:, : flowers.rate.shape[1]])
    assert rate[:, flowers.rate.shape[1] :].max() == 0.0
    assert flowers.weights == pytest.approx(first_use_weights(flowers.rate))


def test_an_early_end_is_the_tenth_part_of_the_ends() -> None:
    known = bloom(window(30.0, 90.0), seed=12)
    flowers = posting.recipient_flowers(known, TODAY)
    assert flowers is not None
    end = np.quantile(known.scenarios.end_day, 0.1)
    last = int(np.flatnonzero(flowers.early_weights.any(axis=0) | flowers.early_weights.any(axis=1))[-1])
    assert last == int(np.floor(end))
    assert flowers.early_weights.sum() < flowers.weights.sum()


def test_a_plant_without_season_has_no_early_end() -> None:
    known = bloom(replace(window(0.0, 365.0), start_sd=0.0, end_sd=0.0, all_year=True))
    flowers = posting.recipient_flowers(known, TODAY)
    assert flowers is not None
    assert (flowers.early_weights == flowers.weights).all()
    assert flowers.rate.shape[1] == constants.SEASON_HORIZON_DAYS.value + posting.TRAVEL_MARGIN_DAYS


def test_days_that_may_be_named_are_open_near_and_likely_enough() -> None:
    _, course = laid_out(offer(bloom=bloom(window(20.0, 200.0), seed=11)))
    likely = course.ready.sum(axis=1) >= 0.05
    for day in range(course.candidate.size):
        expected = TODAY.toordinal() + day
        weekday = date.fromordinal(expected).weekday() < 5
        assert course.candidate[day] == (weekday and day <= 120 and likely[day])


def test_a_refrigerated_lot_ages_day_by_day() -> None:
    pair, course = laid_out(offer(lot=lot(6)))
    assert posting.cool_days(pair.offer, course, 0)[:3].tolist() == [7, 8, 9]
    assert posting.frozen_days(pair.offer, 10) == 0
    assert course.ready[:7, 0].tolist() == [1, 1, 1, 1, 1, 0, 0]


def test_a_frozen_lot_ages_in_the_freezer_until_it_is_posted() -> None:
    pair, course = laid_out(offer(lot=lot(6, "frozen"), treatment="frozen"))
    assert posting.cool_days(pair.offer, course, 0)[:3].tolist() == [1, 1, 1]
    assert posting.frozen_days(pair.offer, 10) == 16


def test_a_frozen_lot_stays_frozen_while_no_flower_is_near() -> None:
    pair = Instance(
        offer(lot=lot(6, "frozen"), treatment="frozen"),
        wanted(bloom=bloom(window(100.0, 160.0), seed=12)),
        lane(),
        TODAY,
    )
    assert pair.flowers is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    first_flower = int(np.flatnonzero(pair.flowers.rate.any(axis=0))[0])
    first = int(np.flatnonzero(course.candidate)[0])
    assert course.way.usable_day[first, 0] >= first_flower - 45
    assert course.way.usable_day[first - 7, 0] < first_flower - 45
    assert all(day % 7 == 0 for day in np.flatnonzero(course.candidate))


def test_a_frozen_lot_may_go_today_and_on_any_day_of_a_post_that_never_closes() -> None:
    frozen = offer(lot=lot(6, "frozen"), treatment="frozen")
    for way, expected in ((lane(), [1, 0, 0, 0, 0, 0, 0, 1]), (lane(origin=EVERY_DAY), [1] * 8)):
        pair = Instance(frozen, wanted(), way, TODAY)
        assert pair.flowers is not None
        course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
        assert course.ready[:8, 0].tolist() == expected


def test_pollen_on_request_rests_from_its_own_collection() -> None:
    pair, course = laid_out(offer(), lane(collected_before_cut_off=False))
    assert posting.cool_days(pair.offer, course, 0)[0] == 2
    assert posting.cool_start(pair.offer, course)[0].tolist() == [2, 3, 4]


def test_a_lot_is_worth_most_where_flowers_are_and_is_posted_then() -> None:
    pair, course = laid_out(offer(lot=lot(0)))
    central = posting.values(pair.offer, pair.lane, course)["central"]
    followed = posting.follow(pair.offer, pair.lane, course, central)
    assert followed.value == central.mean.max()
    assert followed.posted.sum() == 1.0
    assert followed.posted[int(np.argmax(central.mean)), 0] == 1.0


def test_following_on_request_uses_the_table_and_posts_at_most_once() -> None:
    pair, course = laid_out(offer())
    assert pair.offer.bloom is not None
    central = posting.values(pair.offer, pair.lane, course)["central"]
    followed = posting.follow(pair.offer, pair.lane, course, central)
    chance = -np.expm1(-daily_rate(pair.offer.bloom.scenarios, TODAY, course.days.is_open.size))
    states = states_of(donor_clock(pair.offer, pair.lane), course.days)
    table = decide(central.by_rest, chance.mean(axis=0), states, course.days)
    assert 0.0 < followed.posted.sum() <= 1.0
    assert followed.value == pytest.approx((followed.posted * central.by_rest).sum())
    assert not followed.posted[~table.any(axis=1)].any()
    assert not followed.posted[~course.days.is_open].any()


def test_unfavourable_cases_are_worth_less() -> None:
    pair, course = laid_out(offer())
    values = posting.values(pair.offer, pair.lane, course)
    for name in ("viability", "recipient_end"):
        assert (values[name].mean <= values["central"].mean + 1e-6).all()
    assert values["central"].mean == pytest.approx(
        posting.central_value(pair.offer, pair.lane, course).mean, abs=0.0
    )


def test_each_dose_of_a_packet_is_worth_less_than_the_one_before() -> None:
    pair, course = laid_out(offer(doses=4))
    central = posting.values(pair.offer, pair.lane, course)["central"]
    followed = posting.follow(pair.offer, pair.lane, course, central)
    shares = posting.dose_shares(pair.offer, pair.lane, course, followed, 4)
    assert shares[0] == 1.0
    assert all(later <= sooner for sooner, later in pairwise(shares))
    day, table = followed.likeliest_day, posting._effect_tables(pair.offer, pair.lane, course)
    worth = []
    for dose in (1, 3):
        weights = first_use_weights(course.flowers.rate, dose=dose)
        total = 0.0
        for step, share in enumerate(pair.lane.transit.day_probability):
            usable, parcel = course.way.usable_day[day, step], course.way.parcel_days[day, step]
            start = posting.cool_start(pair.offer, course)[day, 0]
            for wait in range(weights.shape[0] - usable):
                total += share * weights[usable, wait] * table[day].mean[parcel, start + wait]
        worth.append(total)
    assert shares[2] == pytest.approx(worth[1] / worth[0], abs=1e-9)


def test_a_post_closed_for_months_is_waited_out() -> None:
    shut = frozenset(TODAY + timedelta(days=day) for day in range(10, 160))
    way = lane(destination=ServiceCalendar(closed_days=shut), ambient_c=np.full(12, 5.0))
    pair = Instance(offer(), wanted(bloom=bloom(window(30.0, 250.0), seed=12)), way, TODAY)
    assert pair.flowers is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    worth = posting.central_value(pair.offer, pair.lane, course).mean
    first, last = np.flatnonzero(worth > 0.0)[[0, -1]]
    assert course.way.parcel_days[first, 1] > 120
    # Posted later into the closed time it arrives at the same time, but younger.
    assert worth[first] < worth[last]


def test_on_request_needs_a_forecast() -> None:
    with pytest.raises(ValueError, match="bloom of offer is missing; allowed: a forecast, or a lot in hand"):
        laid_out(offer(bloom=None))
