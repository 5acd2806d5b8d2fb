"""Where a parcel has got to, and what it is worth, by loops over every way it may go."""

from datetime import date, timedelta

import numpy as np
import pytest

from exchange.matching.arrival import Journey, journey, posted_value
from exchange.science.business_day import ServiceCalendar, country_calendar
from exchange.science.transit import MAX_BUSINESS_DAYS
from tests.matching.instance import EVERY_DAY, NORTH_C, WEEKDAYS, lane

MONDAY = date(2026, 6, 1)
FRIDAY = date(2026, 6, 5)


def test_business_days_skip_the_weekend() -> None:
    way = journey(lane(), FRIDAY, 1, night_opening=False)
    assert way.parcel_days[0, :5].tolist() == [3, 4, 5, 6, 7]
    assert way.parcel_days.shape == (1, MAX_BUSINESS_DAYS)
    assert way.longest_parcel_days == 21


@pytest.mark.parametrize(
    ("night", "before_opening", "waits"),
    [(False, False, 1), (False, True, 0), (True, False, 0), (True, True, 0)],
)
def test_a_day_flower_waits_for_the_next_morning(night: bool, before_opening: bool, waits: int) -> None:
    way = journey(lane(delivery_before_opening=before_opening), MONDAY, 1, night_opening=night)
    assert way.usable_day[0, 0] == 1 + waits
    assert way.waiting_days == waits


def test_customs_add_calendar_days_and_end_on_an_open_day() -> None:
    way = journey(lane(customs_delay_days=2), MONDAY, 1, night_opening=True)
    # Business days end on Tuesday to Saturday plus two; Friday is the third of them: Saturday is closed.
    assert way.parcel_days[0, :4].tolist() == [3, 4, 7, 7]


def test_dates_across_the_date_line_are_those_of_both_ends() -> None:
    until = MONDAY + timedelta(days=60)
    auckland = country_calendar("NZ", MONDAY, until, subdivision="AUK")
    honolulu = country_calendar("US", MONDAY, until, subdivision="HI")
    there = journey(lane(origin=auckland, destination=honolulu), MONDAY, 14, night_opening=True)
    # 1 June is a holiday in New Zealand, 11 June one of Hawaii: both are skipped for all.
    assert there.parcel_days[1, :8].tolist() == [1, 2, 3, 6, 7, 8, 10, 13]
    assert auckland.is_open(MONDAY) is honolulu.is_open(date(2026, 6, 11)) is False


def test_a_closed_week_lengthens_the_way() -> None:
    shut = frozenset(MONDAY + timedelta(days=day) for day in range(7, 12))
    way = journey(lane(destination=ServiceCalendar(closed_days=shut)), FRIDAY, 1, night_opening=True)
    assert way.parcel_days[0, 0] == 10


def test_the_month_of_dispatch_makes_the_heat_class() -> None:
    way = journey(lane(ambient_c=NORTH_C), date(2026, 6, 30), 2, night_opening=False)
    # June 20 + 5 = 25.0 °C is its own class, July 23 + 5 = 28 °C goes to 30.
    assert way.heat_class_c.tolist() == [25.0, 30.0]


def looped(
    way: Journey, share: np.ndarray, weights: np.ndarray, by_draw: np.ndarray, cool: np.ndarray
) -> np.ndarray:
    """Day by day, way by way, wait by wait, draw by draw."""
    values = []
    for day in range(len(cool)):
        total = 0.0
        for step in range(MAX_BUSINESS_DAYS):
            first = way.usable_day[day, step]
            for wait in range(len(weights) - first):
                for draw in by_draw:
                    left = draw[way.parcel_days[day, step], cool[day] + wait]
                    total += share[step] * weights[first, wait] * left / len(by_draw)
        values.append(total)
    return np.array(values)


@pytest.mark.parametrize("seed", range(3))
def test_a_packet_is_worth_the_sum_over_every_way(seed: int) -> None:
    rng = np.random.default_rng(seed)
    way = journey(lane(origin=(WEEKDAYS, EVERY_DAY)[seed % 2]), MONDAY, 6, night_opening=False)
    share = rng.dirichlet(np.ones(MAX_BUSINESS_DAYS)) * 0.95
    weights = np.triu(rng.uniform(0.0, 0.05, (25, 25)))[:, ::-1]
    by_draw = rng.uniform(0.0, 1.0, (3, way.longest_parcel_days + 1, 40))
    cool = rng.integers(0, 5, 6)
    some = np.array([True, True, False, True, True, True])
    found = posted_value(way, share, weights, dict.fromkeys(range(6), by_draw.mean(axis=0)), cool, some)
    assert found == pytest.approx(looped(way, share, weights, by_draw, cool) * some, abs=1e-12)


def test_flowers_after_the_last_day_known_count_for_nothing() -> None:
    way = journey(lane(), MONDAY, 3, night_opening=False)
    share = np.zeros(MAX_BUSINESS_DAYS)
    share[0] = 1.0
    weights = np.array([[1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    kept = dict.fromkeys(range(3), np.ones((way.longest_parcel_days + 1, 9)))
    assert posted_value(way, share, weights, kept, np.zeros(3, np.int64), np.ones(3, np.bool_)).tolist() == [
        1.0,
        0.0,
        0.0,
    ]
