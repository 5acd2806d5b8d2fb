"""The picture of a plan: the same figures as the plan, day by day."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from exchange.matching.effect import dispatch_age_days, draws_used, first_draws
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import recipient_flowers
from exchange.matching.side import CrossWanted, PollenOffer
from exchange.matching.timeline import Timeline, timeline
from exchange.science.bloom_scenario import daily_rate
from exchange.science.business_day import ServiceCalendar
from exchange.science.flower import pollen_probability, receptive_probability
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.parcel import heat_class_c, thermal_age_in_parcel_days
from exchange.science.viability import prior_draws, remaining_fraction
from tests.exchange.pair import a_bloom, a_lane, a_wanted_cross, an_offer

TODAY = date(2026, 6, 1)


def drawn(offer: PollenOffer, wanted: CrossWanted, **lane_changes: object) -> tuple[PairPlan, Timeline]:
    way = a_lane(**lane_changes)
    assert wanted.bloom is not None
    flowers = recipient_flowers(wanted.bloom, TODAY)
    plan = plan_pair(offer, wanted, way, TODAY, flowers)
    assert isinstance(plan, PairPlan) and flowers is not None
    return plan, timeline(offer, wanted, way, TODAY, flowers, plan)


@pytest.fixture(scope="module")
def in_hand() -> tuple[PairPlan, Timeline]:
    return drawn(an_offer(), a_wanted_cross(bloom=a_bloom()))


@pytest.fixture(scope="module")
def on_request() -> tuple[PairPlan, Timeline]:
    offer = an_offer(lot=None, bloom=a_bloom())
    return drawn(offer, a_wanted_cross(bloom=a_bloom()))


def test_the_axis_runs_round_the_posting_day_and_all_lists_are_equally_long(
    in_hand: tuple[PairPlan, Timeline],
) -> None:
    plan, picture = in_hand
    assert plan.dates is not None
    assert picture.posted_on == plan.dates.post_on
    assert picture.first_day == max(TODAY, picture.posted_on - timedelta(days=30))
    arrays = [value for value in vars(picture).values() if isinstance(value, np.ndarray)]
    days = (picture.posted_on - picture.first_day).days + 61
    assert [array.shape for array in arrays] == [(days,)] * 5


def test_the_parcel_arrives_with_the_chance_that_it_is_not_lost_and_at_the_median_day(
    in_hand: tuple[PairPlan, Timeline],
) -> None:
    plan, picture = in_hand
    assert picture.arrival_chance.sum() == pytest.approx(1.0 - plan.lost_chance, abs=1e-12)
    assert plan.dates is not None
    half = (plan.dates.arrival_half - picture.first_day).days
    delivered = picture.arrival_chance.cumsum() / picture.arrival_chance.sum()
    assert delivered[half] >= 0.5 > delivered[half - 1]
    assert not picture.arrival_chance[: (picture.posted_on - picture.first_day).days].any()


def test_flowers_are_those_of_the_forecast(in_hand: tuple[PairPlan, Timeline]) -> None:
    _, picture = in_hand
    count = picture.first_day_flower_chance.size
    rate = daily_rate(a_bloom().scenarios, picture.first_day, count)
    expected = receptive_probability(rate).mean(axis=0)
    assert picture.first_day_flower_chance == pytest.approx(expected, abs=1e-12)


def test_pollen_in_hand_is_there_and_pollen_on_request_follows_the_flowers(
    in_hand: tuple[PairPlan, Timeline], on_request: tuple[PairPlan, Timeline]
) -> None:
    assert in_hand[1].pollen_chance.tolist() == [1.0] * in_hand[1].pollen_chance.size
    picture = on_request[1]
    margin, count = 5, picture.pollen_chance.size
    rate = daily_rate(a_bloom().scenarios, picture.first_day - timedelta(days=margin), count + margin)
    expected = pollen_probability(rate, pollen_days=2).mean(axis=0)[margin:]
    assert picture.pollen_chance == pytest.approx(expected, abs=1e-12)
    assert picture.pollen_chance.max() > 0.5


def test_a_bud_that_sheds_the_day_before_counts(on_request: tuple[PairPlan, Timeline]) -> None:
    early = replace(an_offer().parent, pollen_first_day=0, pollen_last_day=1)
    offer = an_offer(lot=None, bloom=a_bloom(), parent=early)
    _, picture = drawn(offer, a_wanted_cross(bloom=a_bloom()))
    count = picture.pollen_chance.size
    rate = daily_rate(a_bloom().scenarios, picture.first_day, count + 1)
    expected = -np.expm1(-(rate[:, :-1] + rate[:, 1:])).mean(axis=0)
    assert picture.pollen_chance == pytest.approx(expected, abs=1e-12)


def test_the_effect_left_is_that_of_the_pollens_age(in_hand: tuple[PairPlan, Timeline]) -> None:
    plan, picture = in_hand
    assert plan.dates is not None
    posted, half = picture.posted_on, plan.dates.arrival_half
    usable = half + timedelta(days=1)
    first = (usable - picture.first_day).days
    assert np.isnan(picture.remaining_effect[:first]).all()
    way, draws = a_lane(), first_draws(prior_draws("dried"), draws_used("dried"))
    heat = heat_class_c(float(way.ambient_c[posted.month - 1]))
    hours = np.array([24.0 * (half - posted).days])
    parcel = thermal_age_in_parcel_days(way.packing, heat, hours, prior_draws("dried").q10)
    count = draws.q10.size
    # Three days in the refrigerator when the run began, and one between delivery and the next flower.
    for later in (0, 10, 40):
        cool = 3 + (posted - TODAY).days + 1 + later
        age = dispatch_age_days("dried")[:count] + parcel.reshape(-1)[:count] + cool
        effect = live_effect(remaining_fraction(draws, age[:, None]), live_effect_rates()[:count])
        expected = float(draws.weight @ effect[:, 0])
        assert picture.remaining_effect[first + later] == pytest.approx(expected, abs=1e-5)


def test_days_on_which_the_post_is_closed_are_marked() -> None:
    closed = frozenset({date(2026, 7, 14)})
    origin = ServiceCalendar(closed_days=closed)
    _, picture = drawn(an_offer(), a_wanted_cross(bloom=a_bloom()), origin=origin)
    for day, is_open in enumerate(picture.posting_open):
        assert is_open == origin.is_open(picture.first_day + timedelta(days=day))
    assert not picture.posting_open[(date(2026, 7, 14) - picture.first_day).days]
