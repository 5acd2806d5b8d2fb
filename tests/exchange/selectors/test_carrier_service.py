"""Days, hours and promises of carrier services: against a calendar by hand, on either side of a cut-off."""

from datetime import UTC, date, datetime, time
from typing import Any

import pytest

from exchange.models import CarrierService
from exchange.selectors.carrier_service import (
    accepted_on,
    delivery_calendar,
    hand_over_until,
    handover_calendar,
    promised_days,
)
from growers.models import Site

TODAY = date(2026, 6, 15)
PARIS = Site(cell_country="FR", cell_zone="Europe/Paris")
AUCKLAND = Site(cell_country="NZ", cell_zone="Pacific/Auckland")


def service(**said: Any) -> CarrierService:
    return CarrierService(**{"country": "FR", **said})


def open_days(of: CarrierService | None, *days: date, saturday: bool = False) -> list[bool]:
    calendar = handover_calendar(of, "FR", TODAY, saturday=saturday)
    return [calendar.is_open(day) for day in days]


# --- days ---

FRIDAY, SATURDAY, SUNDAY = date(2026, 8, 7), date(2026, 8, 8), date(2026, 8, 9)
ASSUMPTION, BASTILLE = date(2026, 8, 15), date(2026, 7, 14)  # Saturday and Tuesday, holidays of France


def test_a_service_that_says_nothing_keeps_the_week_of_its_country() -> None:
    for each in (None, service()):
        assert open_days(each, FRIDAY, SATURDAY, SUNDAY, BASTILLE) == [True, False, False, False]


def test_a_service_has_its_own_week_but_for_holidays() -> None:
    week = service(weekdays=["friday", "saturday"])
    assert open_days(week, date(2026, 8, 6), FRIDAY, SATURDAY, SUNDAY) == [False, True, True, False]
    assert open_days(week, ASSUMPTION) == [False]


def test_days_of_its_own_win_over_week_and_holidays() -> None:
    own = service(opened_days=["2026-07-14", "2026-08-09"], closed_days=["2026-08-07"])
    assert open_days(own, BASTILLE, SUNDAY, FRIDAY, date(2026, 8, 6)) == [True, True, False, True]


def test_holidays_are_those_of_the_country_it_works_in() -> None:
    thai = service(country="TH")
    songkran = date(2026, 4, 14)
    calendar = handover_calendar(thai, "FR", date(2026, 4, 1))
    assert [calendar.is_open(day) for day in (songkran, BASTILLE)] == [False, True]


def test_an_offers_saturday_adds_to_the_week() -> None:
    assert open_days(service(weekdays=["monday"]), SATURDAY, FRIDAY, saturday=True) == [True, False]


@pytest.mark.parametrize(("said", "expected"), [({}, False), ({"delivers_on_saturday": True}, True)])
def test_saturday_is_a_day_of_delivery_where_it_says_so(said: dict[str, Any], expected: bool) -> None:
    week = service(weekdays=["monday", "saturday"], closed_days=["2026-08-07"], **said)
    calendar = delivery_calendar(week, "FR", TODAY)
    # Its week and its own days are those of handing over.
    assert [calendar.is_open(day) for day in (FRIDAY, SATURDAY, SUNDAY)] == [True, expected, False]


# --- promises ---


def test_a_promise_is_its_own_or_the_usual_one() -> None:
    own = service(promised_days_home=1, promised_days_abroad=9)
    found = [
        promised_days(each, abroad=abroad) for each in (None, service(), own) for abroad in (False, True)
    ]
    assert found == [2.0, 5.0, 2.0, 5.0, 1.0, 9.0]


# --- the cut-off ---

UNTIL_FOUR = service(cut_off=time(16))


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ("2026-08-06T13:59", "2026-08-06"),  # 15:59 in Paris
        ("2026-08-06T14:00", "2026-08-06"),  # that minute included
        ("2026-08-06T14:01", "2026-08-07"),
        ("2026-08-07T14:01", "2026-08-10"),  # Friday evening is Monday
        ("2026-07-13T15:00", "2026-07-15"),  # over the fourteenth of July
        ("2026-12-03T15:00", "2026-12-03"),  # 16:00 in winter
        ("2026-12-03T15:01", "2026-12-04"),
    ],
)
def test_after_the_cut_off_the_next_open_day_counts(at: str, expected: str) -> None:
    instant = datetime.fromisoformat(at).replace(tzinfo=UTC)
    assert accepted_on(UNTIL_FOUR, PARIS, instant) == date.fromisoformat(expected)


@pytest.mark.parametrize("other", [None, service()])
def test_without_one_the_day_on_the_clock_there_counts(other: CarrierService | None) -> None:
    late = datetime(2026, 8, 6, 21, 59, tzinfo=UTC)
    assert accepted_on(other, PARIS, late) == date(2026, 8, 6)
    assert accepted_on(other, AUCKLAND, late) == date(2026, 8, 7)


def test_a_day_of_handing_over_ends_at_the_cut_off_or_at_midnight_there() -> None:
    # 25 October 2026: summer time ends in Paris at 3:00.
    found = [hand_over_until(each, "Europe/Paris", date(2026, 10, 25)) for each in (UNTIL_FOUR, None)]
    assert found == [datetime(2026, 10, 25, 15, tzinfo=UTC), datetime(2026, 10, 25, 23, tzinfo=UTC)]
    assert hand_over_until(service(), "Pacific/Auckland", date(2026, 7, 1)) == datetime(
        2026, 7, 1, 12, tzinfo=UTC
    )
