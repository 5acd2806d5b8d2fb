"""A zone as a calendar file describes it, for programs that know no names of zones (RFC 5545, 3.6.5).

The library's own description states an onset on the clock that begins with it; the standard asks for the
clock that ends there, and the two differ by the very hour that is skipped or lived twice.
"""

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

Observance = TimezoneStandard | TimezoneDaylight
DAY = timedelta(days=1)
ZERO = timedelta()


@lru_cache(maxsize=64)
def zone_described(name: str, first_year: int, last_year: int) -> bytes:
    """The VTIMEZONE of an IANA zone, true from the first day of a year to the last of another."""
    zone = ZoneInfo(name)
    first = datetime(first_year, 1, 1, tzinfo=UTC) - DAY
    count = (datetime(last_year + 1, 1, 1, tzinfo=UTC) + DAY - first).days
    described = Timezone()
    described.add("tzid", name)
    described.add_component(_observance(zone, first, _offset(zone, first)))
    for before, after in pairwise(first + number * DAY for number in range(count + 1)):
        if _offset(zone, before) != _offset(zone, after):
            onset = _onset(zone, before, after)
            described.add_component(_observance(zone, onset, _offset(zone, before)))
    return bytes(described.to_ical())


def _observance(zone: ZoneInfo, onset: datetime, offset_before: timedelta) -> Observance:
    """The clock that begins at an onset, which is stated on the clock before it."""
    local = onset.astimezone(zone)
    part: Observance = TimezoneDaylight() if local.dst() else TimezoneStandard()
    part.add("dtstart", (onset + offset_before).replace(tzinfo=None))
    part.add("tzoffsetfrom", offset_before)
    part.add("tzoffsetto", local.utcoffset())
    part.add("tzname", local.tzname())
    return part


def _onset(zone: ZoneInfo, before: datetime, after: datetime) -> datetime:
    """The first instant, to the second, at which the clock of ``after`` holds."""
    while after - before > timedelta(seconds=1):
        middle = before + timedelta(seconds=(after - before) // timedelta(seconds=2))
        if _offset(zone, middle) == _offset(zone, before):
            before = middle
        else:
            after = middle
    return after


def _offset(zone: ZoneInfo, instant: datetime) -> timedelta:
    return instant.astimezone(zone).utcoffset() or ZERO
