"""Calendar files: read back by two parsers, through the changes of clocks, with whatever a name may hold."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.wording.calendar import Entry
from exchange.wording.calendar_file import calendar_file
from tests.exchange.calendar import AT, Event, assert_lines, at, read, stored

ZONES = (
    "Europe/Paris",
    "Europe/Dublin",  # its winter is the exception
    "America/New_York",
    "America/Santiago",  # southern, at midnight
    "Australia/Lord_Howe",  # half an hour
    "Australia/Sydney",
    "Pacific/Auckland",
    "Africa/Casablanca",
    "Antarctica/Troll",  # two hours
    "Asia/Kathmandu",  # none, at a quarter of an hour
    "UTC",
)
DAYS = Entry("day-1", "Likely to arrive", "2 doses.", first=date(2027, 7, 4), last=date(2027, 7, 6))


def test_the_file_is_this_and_no_other() -> None:
    deadline = at(
        datetime(2027, 7, 8, 15, 30, tzinfo=UTC), "Europe/Paris", description="2 doses.", alarm=True
    )
    cancelled = stored(DAYS, sequence=2, cancelled_at=AT)
    assert calendar_file([*stored(deadline), *cancelled], name="Pollen exchange").decode().split("\r\n") == [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Pollen exchange//Calendar feed//EN",
        "METHOD:PUBLISH",
        "X-WR-CALNAME:Pollen exchange",
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H",
        "BEGIN:VTIMEZONE",
        "TZID:Europe/Paris",
        "BEGIN:STANDARD",
        "DTSTART:20261231T010000",
        "TZNAME:CET",
        "TZOFFSETFROM:+0100",
        "TZOFFSETTO:+0100",
        "END:STANDARD",
        "BEGIN:DAYLIGHT",
        "DTSTART:20270328T020000",
        "TZNAME:CEST",
        "TZOFFSETFROM:+0100",
        "TZOFFSETTO:+0200",
        "END:DAYLIGHT",
        "BEGIN:STANDARD",
        "DTSTART:20271031T030000",
        "TZNAME:CET",
        "TZOFFSETFROM:+0200",
        "TZOFFSETTO:+0100",
        "END:STANDARD",
        "END:VTIMEZONE",
        "BEGIN:VEVENT",
        "SUMMARY:Post",
        "DTSTART;TZID=Europe/Paris:20270708T173000",
        "DTSTAMP:20270701T120000Z",
        "UID:deadline-202707081530",
        "SEQUENCE:0",
        "CLASS:PRIVATE",
        "DESCRIPTION:2 doses.",
        "LAST-MODIFIED:20270701T120000Z",
        "STATUS:CONFIRMED",
        "TRANSP:TRANSPARENT",
        "BEGIN:VALARM",
        "ACTION:DISPLAY",
        "DESCRIPTION:Post",
        "TRIGGER:-P1D",
        "END:VALARM",
        "END:VEVENT",
        "BEGIN:VEVENT",
        "SUMMARY:Likely to arrive",
        "DTSTART;VALUE=DATE:20270704",
        "DTEND;VALUE=DATE:20270707",
        "DTSTAMP:20270701T120000Z",
        "UID:day-1",
        "SEQUENCE:2",
        "CLASS:PRIVATE",
        "DESCRIPTION:2 doses.",
        "LAST-MODIFIED:20270701T120000Z",
        "STATUS:CANCELLED",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
        "END:VCALENDAR",
        "",
    ]


def test_days_end_the_day_after_the_last_and_have_no_zone() -> None:
    (event,) = read(calendar_file(stored(DAYS), name="x"))
    assert event == Event(
        uid="day-1",
        sequence=0,
        status="CONFIRMED",
        summary="Likely to arrive",
        description="2 doses.",
        starts=date(2027, 7, 4),
        ends=date(2027, 7, 7),
        alarms=(),
    )


def test_a_deadline_reminds_a_day_before_and_a_cancelled_one_does_not() -> None:
    deadline = at(AT, "Europe/Paris", alarm=True)
    (stands,) = read(calendar_file(stored(deadline), name="x"))
    (gone,) = read(calendar_file(stored(deadline, cancelled_at=AT), name="x"))
    assert (stands.alarms, stands.starts, stands.ends) == ((timedelta(days=-1),), AT, None)
    assert (gone.alarms, gone.status) == ((), "CANCELLED")


def test_an_empty_calendar_is_one() -> None:
    assert read(calendar_file([], name="x")) == []


@pytest.mark.parametrize("zone", ZONES)
def test_both_parsers_read_the_instants_that_were_meant_through_a_year(zone: str) -> None:
    """Every 31 hours, and each half hour of the days on which a clock is changed, at a quarter past."""
    year = datetime(2027, 1, 1, 0, 15, tzinfo=UTC)
    instants = {year + timedelta(hours=31 * number) for number in range(282)}
    changes = {
        (3, 14),
        (3, 28),
        (4, 3),
        (4, 4),
        (9, 5),
        (9, 25),
        (9, 26),
        (10, 2),
        (10, 3),
        (10, 31),
        (11, 7),
    }
    for month, day in changes:
        midnight = datetime(2027, month, day, 0, 15, tzinfo=UTC)
        instants |= {midnight + timedelta(minutes=30 * number) for number in range(48)}
    meant = sorted(instants)
    events = read(calendar_file(stored(*(at(instant, zone) for instant in meant)), name="x"))
    assert [event.starts for event in events] == meant


def test_several_zones_and_years_are_each_described_once() -> None:
    entries = [
        at(datetime(year, 7, 1, hour, tzinfo=UTC), zone)
        for year in (2027, 2030)
        for hour, zone in enumerate(ZONES)
    ]
    file = calendar_file(stored(*entries), name="x")
    assert [event.starts for event in read(file)] == [entry.at for entry in entries]
    assert file.count(b"\r\nTZID:") == file.count(b"BEGIN:VTIMEZONE") == len(ZONES)


CORPUS = (
    "line\r\nBEGIN:VEVENT",
    "line\nEND:VEVENT\nEND:VCALENDAR",
    "line\rATTENDEE:mailto:somebody@example.org",
    "\u2028BEGIN:VALARM\u2029\x85\x0b\x0c",
    "a,b;c:d\\n\\,\"quoted\" 'Name' ^n ^'",
    "\\",
    "x" * 1000,
    "ä" * 500,
    "🌸" * 300,
    "👩\u200d🌾 \u202eevil\u202c \u2066x\u2069",
    "زنبق الماء، نبتة; ماء",
    "\x00\x1b[31m\ufeff",
    "{plant} %s {0}",
)


@pytest.mark.parametrize("text", CORPUS)
def test_whatever_a_name_holds_stays_in_its_line(text: str) -> None:
    entry = Entry(
        "day-1", f"Post {text}", f"{text}!", first=date(2027, 7, 4), last=date(2027, 7, 4), alarm=True
    )
    file = calendar_file(stored(entry), name=f"{text}?")
    (event,) = read(file)
    assert properties(file) == PROPERTIES
    assert event.summary.startswith("Post ") and event.description.endswith("!")
    assert event.summary.count("\n") == 0
    if text.isprintable():
        assert (event.summary, event.description) == (f"Post {text}", f"{text}!")


PROPERTIES = [
    *("BEGIN", "VERSION", "PRODID", "METHOD", "X-WR-CALNAME", "REFRESH-INTERVAL"),
    *("BEGIN", "SUMMARY", "DTSTART", "DTEND", "DTSTAMP", "UID", "SEQUENCE"),
    *("CLASS", "DESCRIPTION", "LAST-MODIFIED", "STATUS", "TRANSP"),
    *("BEGIN", "ACTION", "DESCRIPTION", "TRIGGER", "END", "END", "END"),
]


def properties(file: bytes) -> list[str]:
    """Names of the properties of a file, in its order, once lines are unfolded."""
    lines = file.replace(b"\r\n ", b"").decode().split("\r\n")[:-1]
    return [line.partition(":")[0].partition(";")[0] for line in lines]


@given(st.text(max_size=200), st.text(max_size=200))
@settings(max_examples=60, deadline=None)
def test_no_text_makes_a_line_of_its_own(summary: str, description: str) -> None:
    entry = Entry(
        "day-1", summary, f"{description}.", first=date(2027, 7, 4), last=date(2027, 7, 4), alarm=True
    )
    file = calendar_file(stored(entry), name=summary)
    assert_lines(file)
    assert properties(file) == PROPERTIES


def test_the_same_entries_give_the_same_bytes() -> None:
    files = {calendar_file(stored(DAYS, at(AT, "Europe/Paris")), name="x") for _ in range(3)}
    assert len(files) == 1
