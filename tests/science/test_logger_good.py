"""Files of many shapes, each read exactly; any series in any layout comes back as it was."""

from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.logger_choice import LoggerChoices, LoggerLayout
from exchange.science.logger_layout import logger_layout
from exchange.science.logger_reading import LoggerReadings, logger_readings
from exchange.science.logger_text import LoggerFileError, logger_text

FIRST = datetime(2026, 6, 20, 13, 5, tzinfo=UTC).timestamp()


def read(content: bytes, choices: LoggerChoices) -> tuple[LoggerLayout, LoggerReadings]:
    text = logger_text(content)
    layout = logger_layout(text, choices)
    assert layout.complete, (layout.questions, layout.contradictions)
    return layout, logger_readings(text, layout)


NONE = LoggerChoices()
GOOD: list[tuple[str, bytes, LoggerChoices]] = [
    (
        "block above, semicolons, decimal comma, day first",
        "Serial: A7\r\nInterval: 300 s\r\nTime zone: UTC+02:00\r\n\r\n"
        "No;Date/Time;Temperature [°C];Humidity [%RH];Dew point [°C];Mark\r\n"
        "1;20.06.2026 15:05:00;4,5;55,1;-3,1;\r\n2;20.06.2026 15:10:00;-0,5;55,2;-3,0;x\r\n".encode(
            "utf-8-sig"
        ),
        NONE,
    ),
    (
        "commas, ISO with offset",
        b"index,timestamp,temp_c,humidity\n1,2026-06-20T15:05:00+02:00,4.5,50\n2,2026-06-20T13:10:00Z,-0.5,51\n",
        NONE,
    ),
    (
        "tabs, UTF-16, month first, twelve hours, Fahrenheit",
        "Time (UTC)\tTemperature (°F)\n6/20/2026 1:05:00 PM\t40.1\n6/20/2026 1:10:00 PM\t31.1\n".encode(
            "utf-16"
        ),
        NONE,
    ),
    (
        "Windows letters, old line ends",
        "Fuseau/Time zone;Europe/Paris\r\rDate;Heure;Température (°C)\r"
        "20/06/2026;15:05;4,5\r20/06/2026;15:10;-0,5\r".encode("cp1252"),
        NONE,
    ),
    (
        "seconds since 1970, kelvin",
        b"unix time|temperature K\n1781960700|277.65\n1781961000|272.65\n",
        NONE,
    ),
    (
        "unit in the cells, commas in quotes",
        '"Time","Temperature"\n"2026-06-20 15:05","4,5 °C"\n"2026-06-20 15:10","-0,5 °C"\n'.encode(),
        LoggerChoices(zone="Europe/Berlin"),
    ),
    (
        "no heading",
        b"1,2026-06-20 13:05:00,4.5\n2,2026-06-20 13:10:00,-0.5\n",
        LoggerChoices(zone="UTC", unit="C"),
    ),
    (
        "order of date stated",
        b"Date Time,Temp C\n06/07/2026 13:05,4.5\n06/07/2026 13:10,-0.5\n",
        LoggerChoices(zone="UTC", date_order="day_first"),
    ),
    (
        "names of months, two digits of a year",
        b"Date;Time;Temp (C)\n20-Jun-26;01:05 p.m.;4.5\n20-Jun-26;01:10 p.m.;-0.5\n",
        LoggerChoices(zone="UTC"),
    ),
    (
        "unit and zone above the table",
        "Temperature unit,°C\nTime zone,GMT-3\n\n"
        "Time,Value\n2026/06/20 10:05,4.5\n2026/06/20 10:10,-0.5\n".encode(),
        NONE,
    ),
    (
        "newest first",
        "Time;°C\n2026-06-20 13:10;-0.5\n2026-06-20 13:05;4.5\n".encode(),
        LoggerChoices(zone="UTC"),
    ),
    (
        "second channel chosen",
        "Time;Ch 1 (°C);Ch 2 (°C)\n2026-06-20 13:05;20;4.5\n2026-06-20 13:10;20;−0.5\n".encode(),
        LoggerChoices(zone="UTC", temperature_column="Ch 2 (°C)"),
    ),
    (
        "a heading told twice",
        "Time;Temp (°C);Temp (°C)\n2026-06-20 13:05;4.5;9\n2026-06-20 13:10;-0.5;9\n".encode(),
        LoggerChoices(zone="UTC", temperature_column="Temp (°C)"),
    ),
]


@pytest.mark.parametrize(("content", "choices"), [row[1:] for row in GOOD], ids=[row[0] for row in GOOD])
def test_a_good_file_is_read_exactly(content: bytes, choices: LoggerChoices) -> None:
    _, readings = read(content, choices)
    start = datetime(2026, 7, 6, 13, 5, tzinfo=UTC).timestamp() if b"06/07" in content else FIRST
    assert readings.epoch_seconds.tolist() == [start, start + 300.0]
    assert readings.temperature_c.tolist() == pytest.approx([4.5, -0.5], abs=1e-12)
    assert readings.interval_seconds == 300.0
    assert set(readings.counts) <= {"newest_first"}


def test_a_layout_says_how_each_choice_was_found() -> None:
    layout, readings = read(GOOD[0][1], replace(NONE, unit="C"))
    assert layout.encoding == "utf-8"
    assert (layout.table.heading_row, layout.table.first_row) == (5, 6)
    assert (layout.delimiter.value, layout.delimiter.how) == (";", "detected")
    assert (layout.decimal_mark.value, layout.decimal_mark.evidence, layout.decimal_mark.row) == (
        ",",
        "cells",
        6,
    )
    assert (layout.time_columns.value, layout.time_columns.how) == (("Date/Time",), "detected")
    assert layout.temperature_column.value == "Temperature [°C]"
    assert (layout.unit.value, layout.unit.how) == ("C", "stated")
    assert (layout.date_order.value, layout.date_order.row) == ("day_first", 6)
    assert (layout.zone.value, layout.zone.evidence, layout.zone.row) == ("+02:00", "header_block", 3)
    assert (layout.clock.value, layout.clock.evidence) == ("stays", "one_offset")
    assert readings.row.tolist() == [6, 7]


def test_an_open_choice_is_asked_with_what_is_allowed() -> None:
    text = logger_text("Time;In °C;Out °C\n05/06/26 01:00;40;41\n".encode())
    asked = {question.name: question for question in logger_layout(text).questions}
    assert set(asked) == {"temperature_column", "date_order", "zone"}
    assert asked["temperature_column"].allowed == ("In °C", "Out °C")
    assert asked["date_order"].allowed == ("day_first", "month_first")
    layout = logger_layout(text, LoggerChoices(temperature_column="In °C"))
    unit = next(question for question in layout.questions if question.name == "unit")
    assert (unit.code, unit.suggested, unit.allowed) == ("fahrenheit_suspected", "F", ("C", "F", "K"))
    assert layout.unit.how == "asked"


def test_a_short_year_between_hyphens_may_stand_first() -> None:
    content = b"Time (UTC);Temp C\n26-06-20 13:05;4.5\n26-06-20 13:10;5\n"
    question = logger_layout(logger_text(content)).questions[0]
    assert (question.code, question.allowed) == ("date_order_open", ("day_first", "year_first"))
    _, readings = read(content, LoggerChoices(date_order="year_first"))
    assert readings.epoch_seconds[0] == FIRST


def test_a_zone_that_agrees_with_the_file_may_be_stated() -> None:
    cells = b"Time;Temp C\n2026-06-20 15:05+02:00;4.5\n2026-06-20 15:10+02:00;5\n"
    layout, _ = read(cells, LoggerChoices(zone="Europe/Berlin"))
    assert layout.zone.value == "cells"
    above = b"Time zone: UTC+2\n\nTime;Temp C\n2026-06-20 15:05;4.5\n2026-06-20 15:10;5\n"
    layout, readings = read(above, LoggerChoices(zone="Europe/Berlin"))
    assert (layout.zone.value, layout.zone.how) == ("Europe/Berlin", "stated")
    assert readings.epoch_seconds[0] == FIRST


def test_readings_of_one_instant_are_averaged_and_late_ones_sorted() -> None:
    rows = ["Time (UTC);Temp C", *(f"2026-06-20 13:{row}" for row in ("10;4", "05;1", "10;5", "15;6"))]
    _, readings = read("\n".join(rows).encode(), NONE)
    assert readings.epoch_seconds.tolist() == [FIRST, FIRST + 300, FIRST + 600]
    assert readings.temperature_c.tolist() == [1.0, 4.5, 6.0]
    assert readings.row.tolist() == [3, 2, 5]
    assert readings.counts == {"out_of_order": 1, "duplicate_time": 1}


def test_a_long_file_is_read_whole() -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    lines = [f"{start + timedelta(minutes=each):%d.%m.%Y %H:%M};{each % 97 / 10}" for each in range(100_000)]
    _, readings = read("\n".join(["Time (UTC);Temp (°C)", *lines]).encode(), NONE)
    assert len(readings.epoch_seconds) == readings.rows_in_file == 100_000
    assert (np.diff(readings.epoch_seconds) == 60.0).all()
    assert readings.temperature_c.tolist() == [each % 97 / 10 for each in range(100_000)]
    assert readings.findings == ()


@dataclass(frozen=True)
class Shape:
    """One way to write a file."""

    encoding: str
    line_end: str
    delimiter: str
    mark: str
    date: str
    clock: str
    two_columns: bool
    offset: str
    block: bool
    unit: str


SHAPES = st.builds(
    Shape,
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    mark=st.sampled_from([".", ","]),
    date=st.sampled_from(["%Y-%m-%d", "%Y/%m/%d", "%d.%m.%Y", "%d/%m/%y", "%m/%d/%Y", "%d-%b-%Y"]),
    clock=st.sampled_from(["%H:%M:%S", "%I:%M:%S %p"]),
    two_columns=st.booleans(),
    offset=st.sampled_from(["", "Z", "+02:00", "-0530"]),
    block=st.booleans(),
    unit=st.sampled_from(["C", "F", "K"]),
)
TEMPERATURES = st.decimals(min_value=-60, max_value=60, places=2)
SERIES = st.dictionaries(st.integers(946_900_000, 2_000_000_000), TEMPERATURES, min_size=2, max_size=12)
OFFSET_SECONDS = {"": 3600, "Z": 0, "+02:00": 7200, "-0530": -19800}


def written(series: dict[int, Decimal], shape: Shape) -> bytes:
    quote = '"' if shape.mark == "," == shape.delimiter else ""
    zone = timezone(timedelta(seconds=OFFSET_SECONDS[shape.offset]))
    lines = ["Serial: 7", "Interval: 5 min", ""] if shape.block else []
    time = ["Date", "Time"] if shape.two_columns else ["Time"]
    lines.append(shape.delimiter.join(["No", *time, f"Temperature (°{shape.unit})", "Mark"]))
    for number, (instant, shown) in enumerate(sorted(series.items()), start=1):
        moment = datetime.fromtimestamp(instant, zone)
        day, clock = f"{moment:{shape.date}}", f"{moment:{shape.clock}}{shape.offset}"
        stamp = [day, clock] if shape.two_columns else [f"{day} {clock}"]
        cell = f"{quote}{str(shown).replace('.', shape.mark)}{quote}"
        lines.append(shape.delimiter.join([str(number), *stamp, cell, ""]))
    return shape.line_end.join([*lines, ""]).encode(shape.encoding)


def orders(shape: Shape) -> LoggerChoices:
    order = {"%d.": "day_first", "%d/": "day_first", "%m/": "month_first"}.get(shape.date[:3])
    return LoggerChoices(
        zone=None if shape.offset else "+01:00",
        date_order=order,  # type: ignore[arg-type]
        unit=shape.unit,  # type: ignore[arg-type]
        clock=None if shape.offset else "stays",
    )


@given(SERIES, SHAPES)
def test_any_series_in_any_layout_comes_back(series: dict[int, Decimal], shape: Shape) -> None:
    inside = {each: value if shape.unit != "K" else value + 273 for each, value in series.items()}
    _, readings = read(written(inside, shape), orders(shape))
    assert readings.epoch_seconds.tolist() == [float(each) for each in sorted(inside)]
    shown = np.array([float(inside[each]) for each in sorted(inside)])
    expected = {"C": shown, "F": (shown - 32.0) / 1.8, "K": shown - 273.15}[shape.unit]
    assert readings.temperature_c.tolist() == expected.tolist()


@given(st.binary(max_size=400))
def test_bytes_of_any_kind_raise_nothing_else(content: bytes) -> None:
    _survive(content)


LINES = st.lists(
    st.text(alphabet="0123456789:;,./- \t|\"'TZ+°CFApmeti\u0000\r", max_size=30)
    | st.sampled_from(["Time;Temp (°C)", "2026-06-20 13:05;4.5", "20/06/26 1:05 PM;4,5", "1;2;3"]),
    max_size=12,
)


@given(LINES)
def test_lines_of_any_kind_raise_nothing_else(lines: list[str]) -> None:
    _survive("\n".join(lines).encode())


@given(SERIES, SHAPES, st.data())
def test_a_file_with_a_damaged_byte_raises_nothing_else(
    series: dict[int, Decimal], shape: Shape, data: st.DataObject
) -> None:
    content = bytearray(written(series, shape))
    content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    _survive(bytes(content))


def _survive(content: bytes) -> None:
    choices = LoggerChoices(zone="Europe/Berlin", clock="follows", unit="C", date_order="day_first")
    for each in (NONE, choices):
        with suppress(LoggerFileError):
            text = logger_text(content)
            readings = logger_readings(text, logger_layout(text, each))
            assert (np.diff(readings.epoch_seconds) > 0.0).all()
            assert np.isfinite(readings.temperature_c).all()
