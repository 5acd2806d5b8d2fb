"""A calendar file (RFC 5545) of stored entries; lines end, fold and escape as the icalendar library does."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, Timezone

from exchange.models import CalendarEntry
from exchange.wording.calendar_zone import zone_described
from exchange.wording.one_line import one_line

PRODUCT = "-//Pollen exchange//Calendar feed//EN"
DAY = timedelta(days=1)
REFRESH = timedelta(hours=1)
"""How often a program may look again (judgement)."""


def calendar_file(entries: Sequence[CalendarEntry], *, name: str) -> bytes:
    """The entries as one calendar; the same entries give the same bytes."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", one_line(name))
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for described in _zones(entries):
        calendar.add_component(Timezone.from_ical(described))
    for entry in entries:
        calendar.add_component(_event(entry))
    return bytes(calendar.to_ical())


def _zones(entries: Iterable[CalendarEntry]) -> list[bytes]:
    """Each zone that an instant is told in, described for the years that are."""
    years: dict[str, set[int]] = {}
    for entry in entries:
        if entry.content["at"]:
            years.setdefault(entry.content["zone"], set()).add(_instant(entry.content).year)
    return [zone_described(zone, min(found), max(found)) for zone, found in sorted(years.items())]


def _event(entry: CalendarEntry) -> Event:
    content, event = entry.content, Event()
    event.add("uid", entry.uid)
    event.add("sequence", entry.sequence)
    event.add("dtstamp", entry.changed_at)
    event.add("last-modified", entry.changed_at)
    event.add("summary", one_line(content["summary"]))
    if content["description"]:
        event.add("description", one_line(content["description"]))
    _when(event, content)
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    event.add("status", "CONFIRMED" if entry.cancelled_at is None else "CANCELLED")
    if content["alarm"] and entry.cancelled_at is None:
        event.add_component(_alarm(content))
    return event


def _when(event: Event, content: Mapping[str, Any]) -> None:
    """An instant, or whole days, the end of which is the day after the last."""
    if content["at"]:
        event.add("dtstart", _instant(content))
        return
    event.add("dtstart", date.fromisoformat(content["first"]))
    event.add("dtend", date.fromisoformat(content["last"]) + DAY)


def _alarm(content: Mapping[str, Any]) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", one_line(content["summary"]))
    alarm.add("trigger", -DAY)
    return alarm


def _instant(content: Mapping[str, Any]) -> datetime:
    """On the clock of its zone; in UTC in an hour that is lived twice there: no local time says which."""
    local = datetime.fromisoformat(content["at"]).astimezone(ZoneInfo(content["zone"]))
    is_once = local.replace(fold=0).utcoffset() == local.replace(fold=1).utcoffset()
    return local if is_once else local.astimezone(UTC)
