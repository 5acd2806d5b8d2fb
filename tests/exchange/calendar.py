"""A calendar file as two parsers read it, one of them not the library that wrote it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import vobject

from exchange.models import CalendarEntry
from exchange.wording.calendar import Entry

AT = datetime(2027, 7, 1, 12, tzinfo=UTC)
LONGEST_LINE = 75


@dataclass(frozen=True)
class Event:
    """What both parsers read of one event; instants are in UTC."""

    uid: str
    sequence: int
    status: str
    summary: str
    description: str
    starts: date | datetime
    ends: date | datetime | None
    alarms: tuple[timedelta, ...]


def stored(*entries: Entry, **columns: Any) -> list[CalendarEntry]:
    """Entries as unsaved rows."""
    told = {"changed_at": AT, **columns}
    return [CalendarEntry(uid=entry.uid, content=entry.content, **told) for entry in entries]


def at(instant: datetime, zone: str, **fields: Any) -> Entry:
    """A deadline."""
    return Entry(
        f"deadline-{instant:%Y%m%d%H%M}", fields.pop("summary", "Post"), at=instant, zone=zone, **fields
    )


def read(file: bytes) -> list[Event]:
    """What stands in a file, in its order; both parsers must read the same, and every line be well formed."""
    assert_lines(file)
    ours, theirs = list(_by_icalendar(file)), list(_by_vobject(file))
    assert ours == theirs
    return ours


def assert_lines(file: bytes) -> None:
    """Lines end in CR LF, hold no other line end, and are no longer than the standard allows."""
    lines = file.split(b"\r\n")
    assert lines[-1] == b""
    assert [line for line in lines if b"\r" in line or b"\n" in line or len(line) > LONGEST_LINE] == []
    file.decode("utf-8")


def _by_icalendar(file: bytes) -> Iterator[Event]:
    calendar = icalendar.Calendar.from_ical(file)
    assert calendar.errors == []
    for event in calendar.walk("VEVENT"):
        assert event.errors == []
        yield Event(
            uid=str(event["uid"]),
            sequence=int(event.decoded("sequence")),
            status=str(event["status"]),
            summary=str(event["summary"]),
            description=str(event.get("description", "")),
            starts=_in_utc(event.decoded("dtstart")),
            ends=_in_utc(event.decoded("dtend")) if "dtend" in event else None,
            alarms=tuple(alarm.decoded("trigger") for alarm in event.walk("VALARM")),
        )


def _by_vobject(file: bytes) -> Iterator[Event]:
    # It would go on with the zones of the first file that it ever read.
    vars(vobject.icalendar)["__tzidMap"].clear()
    calendar = vobject.readOne(file.decode("utf-8"))
    calendar.validate(raiseException=True)
    for event in calendar.contents.get("vevent", []):
        yield Event(
            uid=event.uid.value,
            sequence=int(event.sequence.value),
            status=event.status.value,
            summary=event.summary.value,
            description=event.description.value if "description" in event.contents else "",
            starts=_in_utc(event.dtstart.value),
            ends=_in_utc(event.dtend.value) if "dtend" in event.contents else None,
            alarms=tuple(alarm.trigger.value for alarm in event.contents.get("valarm", [])),
        )


def _in_utc(value: date | datetime) -> date | datetime:
    return value.astimezone(UTC) if isinstance(value, datetime) else value
