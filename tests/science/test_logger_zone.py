"""Clock times of zones with summer time, held against the standard library hour by hour."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from exchange.science.logger_choice import Clock, LoggerChoices
from exchange.science.logger_layout import logger_layout
from exchange.science.logger_reading import LoggerReadings, logger_readings
from exchange.science.logger_text import logger_text
from exchange.science.logger_zone import placed, zone_is_known, zone_spans

# Two hemispheres, a change of half an hour, changes at midnight, no change, a change of the law.
ZONES = (
    "Europe/Berlin",
    "America/New_York",
    "America/Santiago",
    "Australia/Lord_Howe",
    "Africa/Casablanca",
    "Asia/Kolkata",
    "Asia/Amman",
)
NAIVE_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001


def local_of(moment: datetime, zone: ZoneInfo) -> float:
    return (moment.astimezone(zone).replace(tzinfo=None) - NAIVE_EPOCH).total_seconds()


@pytest.mark.parametrize("name", ZONES)
def test_every_quarter_of_an_hour_of_a_year_is_placed_as_the_library_does(name: str) -> None:
    zone = ZoneInfo(name)
    start = datetime(2022, 1, 3)  # noqa: DTZ001
    clock = [start + timedelta(minutes=15 * each) for each in range(4 * 24 * 360)]
    local = np.array([(each - NAIVE_EPOCH).total_seconds() for each in clock])
    spans = zone_spans(name, local[0], local[-1])
    place, skipped, twice = placed(spans, local)
    first = np.array([each.replace(tzinfo=zone, fold=0).timestamp() for each in clock])
    second = np.array([each.replace(tzinfo=zone, fold=1).timestamp() for each in clock])
    assert (twice == (second > first)).all()
    assert (skipped == (second < first)).all()
    told = ~skipped
    assert ((local - spans.offset[place])[told] == first[told]).all()
    assert ((local - spans.offset[place + twice])[told] == second[told]).all()


def logged(start: datetime, minutes: int, count: int, zone: str, *, follows: bool) -> bytes:
    rows = ["Time;Temp (°C)"]
    offset = start.astimezone(ZoneInfo(zone)).utcoffset()
    assert offset is not None
    for each in range(count):
        moment = start + timedelta(minutes=minutes * each)
        shown = moment.astimezone(ZoneInfo(zone)) if follows else moment + offset
        rows.append(f"{shown:%Y-%m-%d %H:%M};{each / 10}")
    return "\n".join(rows).encode()


def read(content: bytes, zone: str, clock: Clock) -> LoggerReadings:
    text = logger_text(content)
    return logger_readings(text, logger_layout(text, LoggerChoices(zone=zone, clock=clock)))


SPRING = datetime(2026, 3, 28, 21, tzinfo=UTC)
AUTUMN = datetime(2026, 10, 24, 21, tzinfo=UTC)


@pytest.mark.parametrize("minutes", [5, 10, 30, 60])
@pytest.mark.parametrize("start", [SPRING, AUTUMN])
@pytest.mark.parametrize("clock", ["follows", "stays"])
def test_a_log_over_a_change_of_summer_time_comes_back(start: datetime, minutes: int, clock: Clock) -> None:
    count = 10 * 60 // minutes
    content = logged(start, minutes, count, "Europe/Berlin", follows=clock == "follows")
    readings = read(content, "Europe/Berlin", clock)
    expected = start.timestamp() + 60.0 * minutes * np.arange(count)
    assert readings.epoch_seconds.tolist() == expected.tolist()
    assert readings.temperature_c.tolist() == [each / 10 for each in range(count)]
    assert set(readings.counts) <= {"jump_of_an_hour"}


@pytest.mark.parametrize("start", [SPRING, AUTUMN])
@pytest.mark.parametrize("clock", ["follows", "stays"])
def test_the_question_suggests_the_clock_that_keeps_the_steps_even(start: datetime, clock: Clock) -> None:
    content = logged(start, 10, 60, "Europe/Berlin", follows=clock == "follows")
    questions = logger_layout(logger_text(content), LoggerChoices(zone="Europe/Berlin")).questions
    assert [(each.name, each.suggested, each.allowed) for each in questions] == [
        ("clock", clock, ("follows", "stays"))
    ]
    assert (questions[0].row is not None) == (clock == "follows")
    assert (questions[0].code == "jump_of_an_hour") == (clock == "follows")


def test_newest_first_is_turned_round_before_the_passes_are_told_apart() -> None:
    head, *rows = logged(AUTUMN, 10, 60, "Europe/Berlin", follows=True).split(b"\n")
    readings = read(b"\n".join([head, *reversed(rows)]), "Europe/Berlin", "follows")
    assert readings.epoch_seconds.tolist() == [AUTUMN.timestamp() + 600.0 * each for each in range(60)]
    assert readings.counts == {"newest_first": 1, "jump_of_an_hour": 1}


def test_zones_are_names_or_offsets() -> None:
    assert all(zone_is_known(zone) for zone in ("UTC", "+02:00", "-0530", "Pacific/Auckland"))
    assert not any(zone_is_known(zone) for zone in ("", "CET+1x", "+15:00", "../etc/passwd", "Mars/Base"))
