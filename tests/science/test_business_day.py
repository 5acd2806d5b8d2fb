"""Carrier days: published dates, numpy as oracle, cut-offs, zones and clocks that change."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from exchange.science.business_day import (
    MONDAY_TO_FRIDAY,
    ServiceCalendar,
    acceptance_date,
    business_day_count,
    country_calendar,
    delivery_date,
    delivery_days,
    elapsed_hours,
    next_open_day,
    open_mask,
    previous_open_day,
)
from tests.published import Row, cases

FIRST, LAST = date(2026, 1, 1), date(2026, 12, 31)
START = date(2026, 3, 1)
ALWAYS = ServiceCalendar(open_weekdays=(True,) * 7)
WORKING = ServiceCalendar()
MONDAY_TO_SATURDAY = ServiceCalendar(open_weekdays=(True,) * 6 + (False,))
DAYS = st.dates(START, START + timedelta(days=200))
CLOSED = st.frozensets(st.dates(START, START + timedelta(days=260)), max_size=25)
WEEKS = st.tuples(*[st.booleans()] * 7).filter(any)


def calendar_of(inputs: dict[str, Any]) -> ServiceCalendar:
    if "week" in inputs:
        return ServiceCalendar(open_weekdays=tuple(mark == "1" for mark in inputs["week"]))
    return country_calendar(inputs["country"], FIRST, LAST, subdivision=inputs.get("subdivision"))


def day_of(text: str) -> date:
    return date.fromisoformat(text)


def local(text: str, zone: str, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=fold)


@pytest.mark.parametrize("row", cases("business_day", "open_days"))
def test_open_days_of_a_span(row: Row) -> None:
    first, end = day_of(row.inputs["first"]), day_of(row.inputs["end"])
    row.check(business_day_count(calendar_of(row.inputs), first, end))


@pytest.mark.parametrize("row", cases("business_day", "next_open_day"))
def test_next_open_day(row: Row) -> None:
    found = next_open_day(
        calendar_of(row.inputs), day_of(row.inputs["day"]), including=row.inputs["including"]
    )
    row.check(found.toordinal())


@pytest.mark.parametrize("row", cases("business_day", "previous_open_day"))
def test_previous_open_day(row: Row) -> None:
    found = previous_open_day(
        calendar_of(row.inputs), day_of(row.inputs["day"]), including=row.inputs["including"]
    )
    row.check(found.toordinal())


@pytest.mark.parametrize("row", cases("business_day", "delivery_date"))
def test_delivery_date(row: Row) -> None:
    calendar = calendar_of(row.inputs)
    found = delivery_date(calendar, calendar, day_of(row.inputs["dispatched"]), row.inputs["business_days"])
    row.check(found.toordinal())


@pytest.mark.parametrize("row", cases("business_day", "acceptance_date"))
def test_acceptance_date(row: Row) -> None:
    found = acceptance_date(
        datetime.fromisoformat(row.inputs["handover"]),
        row.inputs["zone"],
        time.fromisoformat(row.inputs["cut_off"]),
        calendar_of(row.inputs),
    )
    row.check(found.toordinal())


@pytest.mark.parametrize("row", cases("business_day", "elapsed_hours"))
def test_elapsed_hours_are_true_hours(row: Row) -> None:
    start = local(row.inputs["start"], row.inputs["start_zone"])
    end = local(row.inputs["end"], row.inputs["end_zone"], row.inputs.get("end_fold", 0))
    row.check(elapsed_hours(start, end))


def test_the_minute_of_the_cut_off_still_counts() -> None:
    zone, cut_off = "America/Chicago", time(16, 0)
    at = local("2026-07-01T16:00", zone)
    assert acceptance_date(at, zone, cut_off, WORKING) == date(2026, 7, 1)
    assert acceptance_date(at + timedelta(seconds=1), zone, cut_off, WORKING) == date(2026, 7, 2)


def test_carrier_days_win_over_public_holidays() -> None:
    works, strikes = date(2026, 7, 3), date(2026, 7, 7)
    calendar = country_calendar("US", FIRST, LAST, opened_days=[works], closed_days=[strikes])
    assert calendar.is_open(works)
    assert not calendar.is_open(strikes)
    assert not calendar.is_open(date(2026, 12, 25))


def test_a_saturday_belongs_to_the_service_not_to_the_country() -> None:
    saturday = date(2026, 7, 11)
    assert not country_calendar("US", FIRST, LAST).is_open(saturday)
    week = MONDAY_TO_SATURDAY.open_weekdays
    assert country_calendar("US", FIRST, LAST, open_weekdays=week).is_open(saturday)


def test_a_saturday_service_delivers_before_the_weekend_ends() -> None:
    friday = date(2026, 7, 10)
    assert delivery_date(WORKING, WORKING, friday, 1) == date(2026, 7, 13)
    assert delivery_date(MONDAY_TO_SATURDAY, MONDAY_TO_SATURDAY, friday, 1) == date(2026, 7, 11)


def test_a_country_keeps_its_own_weekend() -> None:
    calendar = country_calendar("EG", FIRST, LAST)
    assert not calendar.is_open(date(2026, 8, 7))
    assert calendar.is_open(date(2026, 8, 9))


def test_weekend_days_worked_instead_of_others_are_open() -> None:
    calendar = country_calendar("CN", date(2025, 1, 1), date(2025, 12, 31))
    worked = sorted(day for day in calendar.opened_days if day.year == 2025)
    assert worked
    assert all(day.weekday() >= 5 and calendar.is_open(day) for day in worked)
    own_week = country_calendar("CN", date(2025, 1, 1), date(2025, 12, 31), open_weekdays=MONDAY_TO_FRIDAY)
    assert not any(own_week.is_open(day) for day in worked)


def test_holidays_are_known_beyond_new_year_and_after_the_span() -> None:
    calendar = country_calendar("DE", date(2026, 12, 1), date(2026, 12, 31))
    assert not calendar.is_open(date(2026, 12, 25))
    assert not calendar.is_open(date(2027, 1, 1))


def test_holidays_of_both_ends_delay_a_parcel() -> None:
    bavaria = country_calendar("DE", FIRST, LAST, subdivision="BY")
    states = country_calendar("US", FIRST, LAST)
    # Thursday 21 May 2026; Monday the 25th is closed at both ends, Friday 3 July in one only.
    assert delivery_date(bavaria, states, date(2026, 5, 21), 2) == date(2026, 5, 26)
    assert delivery_date(bavaria, states, date(2026, 7, 2), 1) == date(2026, 7, 6)
    assert delivery_date(states, bavaria, date(2026, 7, 2), 1) == date(2026, 7, 6)
    assert delivery_date(bavaria, bavaria, date(2026, 7, 2), 1) == date(2026, 7, 3)


def test_a_closed_dispatch_day_counts_as_the_next_open_one() -> None:
    saturday, monday = date(2026, 7, 11), date(2026, 7, 13)
    assert delivery_date(WORKING, WORKING, saturday, 2) == delivery_date(WORKING, WORKING, monday, 2)


def test_customs_adds_calendar_days_then_waits_for_an_open_day() -> None:
    monday = date(2026, 7, 13)
    assert delivery_date(WORKING, WORKING, monday, 2, customs_delay_days=1) == date(2026, 7, 16)
    assert delivery_date(WORKING, WORKING, monday, 2, customs_delay_days=3) == date(2026, 7, 20)


@given(week=WEEKS, origin_closed=CLOSED, destination_closed=CLOSED, dispatched=DAYS, days=st.integers(1, 15))
def test_delivery_is_numpys_business_day_of_the_shared_calendar(
    week: tuple[bool, ...],
    origin_closed: frozenset[date],
    destination_closed: frozenset[date],
    dispatched: date,
    days: int,
) -> None:
    origin = ServiceCalendar((True,) * 7, origin_closed)
    destination = ServiceCalendar(week, destination_closed)
    accepted = np.busday_offset(
        dispatched, 0, roll="forward", weekmask=[1] * 7, holidays=sorted(origin_closed)
    )
    shared = sorted(origin_closed | destination_closed)
    expected = np.busday_offset(accepted, days, roll="backward", weekmask=list(week), holidays=shared)
    assert delivery_date(origin, destination, dispatched, days) == expected.astype(object)


@given(week=WEEKS, closed=CLOSED, day=DAYS, span=st.integers(0, 60))
def test_counts_and_neighbours_are_numpys(
    week: tuple[bool, ...], closed: frozenset[date], day: date, span: int
) -> None:
    calendar, holidays, end = ServiceCalendar(week, closed), sorted(closed), day + timedelta(days=span)
    count = np.busday_count(day, end, weekmask=list(week), holidays=holidays)
    assert business_day_count(calendar, day, end) == count
    later = np.busday_offset(day, 0, roll="forward", weekmask=list(week), holidays=holidays)
    earlier = np.busday_offset(day, 0, roll="backward", weekmask=list(week), holidays=holidays)
    assert next_open_day(calendar, day) == later.astype(object)
    assert previous_open_day(calendar, day) == earlier.astype(object)


@given(week=WEEKS, origin_closed=CLOSED, destination_closed=CLOSED, customs=st.integers(0, 9))
def test_table_of_deliveries_is_that_of_single_dates(
    week: tuple[bool, ...], origin_closed: frozenset[date], destination_closed: frozenset[date], customs: int
) -> None:
    origin = ServiceCalendar(week, origin_closed)
    destination = ServiceCalendar(MONDAY_TO_SATURDAY.open_weekdays, destination_closed)
    assume(any(week[:6]))
    table = delivery_days(origin, destination, START, 20, customs_delay_days=customs)
    assert table.shape == (20, 15)
    for day, business_days in ((0, 1), (7, 15), (19, 4)):
        single = delivery_date(
            origin, destination, START + timedelta(days=day), business_days, customs_delay_days=customs
        )
        assert START + timedelta(days=int(table[day, business_days - 1])) == single


@given(closed=CLOSED, customs=st.integers(0, 9))
def test_more_business_days_are_never_earlier_nor_a_later_dispatch(
    closed: frozenset[date], customs: int
) -> None:
    calendar = ServiceCalendar(MONDAY_TO_FRIDAY, closed)
    table = delivery_days(calendar, calendar, START, 90, customs_delay_days=customs)
    assert (np.diff(table, axis=1) >= 0).all()
    assert (np.diff(table, axis=0) >= 0).all()
    mask = open_mask(calendar, START, int(table.max()) + 1)
    assert mask[table].all()


def test_a_weekly_post_is_found_years_ahead() -> None:
    sundays = ServiceCalendar(open_weekdays=(False,) * 6 + (True,))
    assert delivery_date(sundays, sundays, date(2026, 7, 5), 260) == date(2026, 7, 5) + timedelta(weeks=260)


def test_ends_that_share_no_day_are_refused() -> None:
    weekend = ServiceCalendar(open_weekdays=(False,) * 5 + (True,) * 2)
    with pytest.raises(ValueError, match="allowed: days that both ends have open"):
        delivery_date(WORKING, weekend, START, 1)


def test_a_service_closed_for_a_year_is_refused() -> None:
    shut = ServiceCalendar(MONDAY_TO_FRIDAY, frozenset(START + timedelta(days=day) for day in range(400)))
    with pytest.raises(
        ValueError, match=r"^day is 2026-03-01; allowed: at most 366 days from an open day\.$"
    ):
        next_open_day(shut, START)


NOON = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda: acceptance_date(NOON.replace(tzinfo=None), "UTC", time(16), ALWAYS),
            "handover is 2026-07-01T12:00:00; allowed: an instant with its offset from UTC.",
        ),
        (
            lambda: acceptance_date(NOON, "Mars/Base", time(16), ALWAYS),
            "zone is 'Mars/Base'; allowed: an IANA time zone, e.g. Europe/Berlin.",
        ),
        (
            lambda: acceptance_date(NOON, "", time(16), ALWAYS),
            "zone is ''; allowed: an IANA time zone, e.g. Europe/Berlin.",
        ),
        (
            lambda: acceptance_date(NOON, "UTC", time(16, tzinfo=UTC), ALWAYS),
            "cut_off is 16:00:00+00:00; allowed: a local time without offset.",
        ),
        (
            lambda: elapsed_hours(NOON, NOON.replace(tzinfo=None)),
            "end is 2026-07-01T12:00:00; allowed: an instant with its offset from UTC.",
        ),
        (
            lambda: country_calendar("XX", FIRST, LAST),
            "country is 'XX'; allowed: ISO 3166 codes with known holidays, e.g. DE, DE-BY, TH, US.",
        ),
        (
            lambda: country_calendar("HolidayBase", FIRST, LAST),
            "country is 'HolidayBase'; allowed: ISO 3166 codes with known holidays, e.g. DE, DE-BY, TH, US.",
        ),
        (
            lambda: country_calendar("DE", FIRST, LAST, subdivision="ZZ"),
            "country is 'DE-ZZ'; allowed: ISO 3166 codes with known holidays, e.g. DE, DE-BY, TH, US.",
        ),
        (lambda: country_calendar("DE", LAST, FIRST), "last is 2026-01-01; allowed: 2026-12-31 or later."),
        (
            lambda: country_calendar("DE", FIRST, LAST, opened_days=[START], closed_days=[START]),
            "closed_days has 2026-03-01; allowed: days that opened_days does not have.",
        ),
        (
            lambda: ServiceCalendar(open_weekdays=(True,) * 6),
            "open_weekdays has 6 values; allowed: 7, Monday first.",
        ),
        (
            lambda: ServiceCalendar(open_weekdays=(False,) * 7),
            "open_weekdays has no open day; allowed: at least one of the seven.",
        ),
        (
            lambda: business_day_count(ALWAYS, LAST, FIRST),
            "end is 2026-01-01; allowed: 2026-12-31 or later.",
        ),
        (lambda: delivery_date(ALWAYS, ALWAYS, FIRST, 0), "business_days is 0; allowed: 1 to 260."),
        (
            lambda: delivery_days(ALWAYS, ALWAYS, FIRST, 5, customs_delay_days=-1),
            "customs_delay_days is -1; allowed: 0 to 180.",
        ),
    ],
)
def test_impossible_input_is_refused_by_name(call: Any, sentence: str) -> None:
    with pytest.raises(ValueError) as refusal:
        call()
    assert str(refusal.value) == sentence
