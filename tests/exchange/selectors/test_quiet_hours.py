"""Quiet hours on a grower's clock, and the hour of the daily message, across midnight and summer time."""

from datetime import UTC, date, datetime, time

import pytest

from exchange.selectors.quiet_hours import daily_at, local_day, quiet_until
from growers.models import Grower

NIGHT, MORNING, AFTERNOON = ("22:00", "07:00"), ("08:00", "14:00"), ("16:00", "18:30")


def grower(zone: str, hours: tuple[str, str] | None = None) -> Grower:
    begins, ends = map(time.fromisoformat, hours) if hours else (None, None)
    return Grower(zone=zone, quiet_from=begins, quiet_until=ends)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "hours", "at", "ends"),
    [
        ("Europe/Paris", None, "2027-07-01T21:00", None),
        ("Europe/Paris", ("07:00", "07:00"), "2027-07-01T05:00", None),
        # 22:00 in Paris is 20:00 UTC in summer and 21:00 in winter.
        ("Europe/Paris", NIGHT, "2027-07-01T19:59", None),
        ("Europe/Paris", NIGHT, "2027-07-01T20:00", "2027-07-02T05:00"),
        ("Europe/Paris", NIGHT, "2027-12-01T20:00", None),
        ("Europe/Paris", NIGHT, "2027-12-01T21:00", "2027-12-02T06:00"),
        ("Europe/Paris", NIGHT, "2027-07-02T04:59", "2027-07-02T05:00"),
        ("Europe/Paris", NIGHT, "2027-07-02T05:00", None),
        # The night in which the clock goes forward, 28 March 2027, is an hour shorter.
        ("Europe/Paris", NIGHT, "2027-03-27T21:30", "2027-03-28T05:00"),
        ("Pacific/Kiritimati", MORNING, "2027-06-30T20:00", "2027-07-01T00:00"),
        ("America/Los_Angeles", MORNING, "2027-07-01T16:00", "2027-07-01T21:00"),
    ],
)
def test_when_quiet_hours_end(zone: str, hours: tuple[str, str] | None, at: str, ends: str | None) -> None:
    assert quiet_until(grower(zone, hours), utc(at)) == (utc(ends) if ends else None)


@pytest.mark.parametrize(
    ("zone", "hours", "goes_out"),
    [
        ("UTC", None, "2027-07-01T17:00"),
        ("Europe/Paris", NIGHT, "2027-07-01T15:00"),
        ("Pacific/Auckland", NIGHT, "2027-07-01T05:00"),
        ("America/Los_Angeles", NIGHT, "2027-07-02T00:00"),
        ("Asia/Kathmandu", NIGHT, "2027-07-01T11:15"),
        # Half an hour before hours that would swallow it; of hours over midnight those of the evening before.
        ("UTC", AFTERNOON, "2027-07-01T15:30"),
        ("UTC", ("17:00", "02:00"), "2027-07-01T16:30"),
        ("UTC", ("23:00", "18:00"), "2027-06-30T22:30"),
        ("UTC", ("12:00", "17:00"), "2027-07-01T17:00"),
    ],
)
def test_when_the_daily_message_goes_out(zone: str, hours: tuple[str, str] | None, goes_out: str) -> None:
    assert daily_at(grower(zone, hours), date(2027, 7, 1)) == utc(goes_out)


def test_the_day_is_that_of_the_growers_clock() -> None:
    at = utc("2027-07-01T12:00")
    days = [local_day(grower(zone), at) for zone in ("Pacific/Kiritimati", "UTC", "Pacific/Midway")]
    assert days == [date(2027, 7, 2), date(2027, 7, 1), date(2027, 7, 1)]
