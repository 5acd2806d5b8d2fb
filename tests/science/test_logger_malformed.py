"""Files that are wrong, by kind: each names the line, the column and the reason, and never anything else."""

import pytest

from exchange.science.logger_choice import LoggerChoices
from exchange.science.logger_layout import logger_layout
from exchange.science.logger_reading import logger_readings
from exchange.science.logger_text import LoggerFileError, logger_text

Told = tuple[str, int | None, str]

TIME, TEMPERATURE = "Time", "Temp (°C)"
UTC = LoggerChoices(zone="UTC")
BERLIN = LoggerChoices(zone="Europe/Berlin", clock="follows")


def log(*rows: str, head: str = f"{TIME};{TEMPERATURE}") -> str:
    return "\n".join([head, *rows])


def good(count: int = 8, first_hour: int = 1) -> list[str]:
    return [f"2026-06-20 {hour:02d}:00;5.{hour % 10}" for hour in range(first_hour, first_hour + count)]


def by_the_minute(count: int) -> list[str]:
    return [f"2026-06-20 {minute // 60:02d}:{minute % 60:02d};5" for minute in range(count)]


def told(content: bytes | str, choices: LoggerChoices = UTC) -> list[Told]:
    """All that is said of a file: an error, else contradictions and questions, else faults and notes."""
    try:
        text = logger_text(content.encode() if isinstance(content, str) else content)
        layout = logger_layout(text, choices)
        if not layout.complete:
            found = [(each.code, each.row, each.column) for each in layout.contradictions]
            return found + [(each.code, each.row, each.name) for each in layout.questions]
        findings = logger_readings(text, layout).findings
    except LoggerFileError as error:
        findings = (error.finding,)
    return [(each.code, each.row, each.column) for each in findings]


WHOLE_FILE: list[tuple[str, bytes | str, list[Told]]] = [
    ("empty", b"", [("file_empty", None, "")]),
    ("only blank lines", b"\n \r\n\t\n", [("file_empty", None, "")]),
    ("only a mark of UTF-8", b"\xef\xbb\xbf", [("file_empty", None, "")]),
    ("report with a graph", b"%PDF-1.7 ...", [("not_a_text_file", None, "")]),
    ("workbook", b"PK\x03\x04....", [("not_a_text_file", None, "")]),
    ("workbook of old", b"\xd0\xcf\x11\xe0....", [("not_a_text_file", None, "")]),
    ("picture", b"\x89PNG\r\n\x1a\n", [("not_a_text_file", None, "")]),
    ("photograph", b"\xff\xd8\xff\xe0", [("not_a_text_file", None, "")]),
    ("compressed", b"\x1f\x8b\x08", [("not_a_text_file", None, "")]),
    ("zero byte", log("2026-06-20 01:00;5\0").encode(), [("zero_byte", 2, "")]),
    ("UTF-16 without its mark", log(*good()).encode("utf-16-le"), [("zero_byte", 1, "")]),
    ("UTF-16 cut in a letter", log(*good()).encode("utf-16")[:-1], [("not_decodable", None, "")]),
    ("bytes of no alphabet", b"Time;Temp\x81\n", [("not_decodable", None, "")]),
    ("bell", log(*good(2), "2026-06-20 03:00;\a5"), [("control_character", 4, "")]),
    ("20 MB and a byte", b"x" * 20_000_001, [("file_too_long", None, "")]),
    ("500,001 lines", b"x\n" * 500_000 + b"x", [("too_many_rows", None, "")]),
    ("a line of 4,001 characters", log(*good(1), "x" * 4001), [("line_too_long", 3, "")]),
    (
        "four million cells and some",
        log("2026-06-20 01:00;5", *[";" * 3999] * 1001),
        [("too_many_cells_in_file", None, "")],
    ),
    ("prose", "Dear grower,\nthe parcel was cool, mostly.\n", [("no_table", None, "")]),
    ("numbers without time", log("1;5.1", "2;5.2"), [("no_table", None, "")]),
    ("times without numbers", log("2026-06-20 01:00;cold"), [("no_table", None, "")]),
    ("heading alone", log(), [("no_table", None, "")]),
    ("one reading", log(*good(1)), [("too_few_readings", None, "")]),
    (
        "one instant twice",
        log("2026-06-20 01:00;5", "2026-06-20 01:00;7"),
        [("too_few_readings", None, ""), ("duplicate_time", 3, TIME)],
    ),
]

ROWS: list[tuple[str, bytes | str, list[Told]]] = [
    ("footer", log(*good(), "End of data"), [("not_a_time", 10, TIME)]),
    ("31 June", log(*good(), "2026-06-31 09:00;5"), [("not_a_time", 10, TIME)]),
    ("29 February of no leap year", log("2026-02-29 00:00;5", *good()), [("not_a_time", 2, TIME)]),
    ("hour 24", log(*good(), "2026-06-20 24:00;5"), [("not_a_time", 10, TIME)]),
    ("hour 13 PM", log(*good(), "2026-06-20 13:00 PM;5"), [("not_a_time", 10, TIME)]),
    ("minute 60", log(*good(), "2026-06-20 09:60;5"), [("not_a_time", 10, TIME)]),
    ("date without time", log(*good(), "2026-06-20;5"), [("not_a_time", 10, TIME)]),
    ("year 1969", log(*good(), "1969-06-20 09:00;5"), [("not_a_time", 10, TIME)]),
    ("digits of another script", log(*good(), "2026-06-20 ०९:00;5"), [("not_a_time", 10, TIME)]),
    ("formula", log(*good(), "=NOW();5"), [("not_a_time", 10, TIME)]),
    ("no time", log(*good(), ";5"), [("cell_missing", 10, TIME)]),
    ("no temperature", log(*good(), "2026-06-20 09:00;"), [("cell_missing", 10, TEMPERATURE)]),
    ("row cut short", log(*good(), "2026-06-20 09:00"), [("cell_missing", 10, TEMPERATURE)]),
    ("dashes", log(*good(), "2026-06-20 09:00;---"), [("not_a_number", 10, TEMPERATURE)]),
    ("word of a sensor", log(*good(), "2026-06-20 09:00;Err"), [("not_a_number", 10, TEMPERATURE)]),
    ("not a number", log(*good(), "2026-06-20 09:00;nan"), [("not_a_number", 10, TEMPERATURE)]),
    ("infinite", log(*good(), "2026-06-20 09:00;inf"), [("not_a_number", 10, TEMPERATURE)]),
    ("exponent", log(*good(), "2026-06-20 09:00;5e0"), [("not_a_number", 10, TEMPERATURE)]),
    ("underscore", log(*good(), "2026-06-20 09:00;5_0"), [("not_a_number", 10, TEMPERATURE)]),
    ("thousands", log(*good(), "2026-06-20 09:00;1,005.0"), [("not_a_number", 10, TEMPERATURE)]),
    ("broken sensor", log(*good(), "2026-06-20 09:00;-127"), [("impossible_temperature", 10, TEMPERATURE)]),
    ("oven", log(*good(), "2026-06-20 09:00;60.1"), [("impossible_temperature", 10, TEMPERATURE)]),
    ("cells too many", log(*good(), "2026-06-20 09:00;5;x"), [("too_many_cells", 10, "")]),
    ("quote not closed", log('"2026-06-20 00:00;5', *good()), [("unclosed_quote", 2, "")]),
    ("quote inside", log(*good(), '"2026"-06-20 09:00;5'), [("unclosed_quote", 10, "")]),
    ("heading again", log(*good(4), f"{TIME};{TEMPERATURE}", *good(4, 5)), [("heading_repeated", 6, "")]),
    ("same time again", log(*good(), "2026-06-20 08:00;6"), [("duplicate_time", 10, TIME)]),
    ("late row", log(*good(4), "2026-06-20 00:00;5"), [("out_of_order", 6, TIME)]),
    ("newest first", log(*reversed(good(4))), [("newest_first", 2, "")]),
    ("two hours missing", log(*good(4), *good(4, 7)), [("gap", 6, "")]),
    (
        "leap of 30 degrees",
        log("2026-06-20 00:59;40", *good()),
        [("too_steep", 3, TEMPERATURE)],
    ),
    (
        "offset missing in one row",
        log("2026-06-20 01:00Z;5", "2026-06-20 02:00Z;5", "2026-06-20 03:00;5", "2026-06-20 04:00Z;5"),
        [("offset_missing", 4, TIME)],
    ),
    (
        "offset beyond the world",
        log("2026-06-20 01:00Z;5", "2026-06-20 02:00Z;5", "2026-06-20 03:00+15:00;5"),
        [("not_a_time", 4, TIME)],
    ),
    (
        "comma of decimals between cells",
        log("2026-06-20 01:00,5,1", "2026-06-20 02:00,5,2", "2026-06-20 03:00,5,3", head="Time,Temp (°C)"),
        [
            ("too_few_readings", None, ""),
            ("too_many_cells", 2, ""),
            ("too_many_cells", 3, ""),
            ("too_many_cells", 4, ""),
        ],
    ),
    (
        "three rows of nine unreadable",
        log(*good(6), *["2026-06-20 09:00;LO"] * 3),
        [("not_a_number", row, TEMPERATURE) for row in (8, 9, 10)],
    ),
]

QUESTIONS: list[tuple[str, bytes | str, LoggerChoices, list[Told]]] = [
    ("no zone", log(*good()), LoggerChoices(), [("zone_open", None, "zone")]),
    ("no unit", log(*good(), head="Time;Temp"), UTC, [("unit_open", None, "unit")]),
    (
        "day or month",
        log("05/06/2026 01:00;5", "06/06/2026 01:00;5"),
        UTC,
        [("date_order_open", None, "date_order")],
    ),
    (
        "two orders of date, as a spreadsheet leaves them",
        log("05/13/2026 01:00;5", "05/06/2026 01:00;5", "14/06/2026 01:00;5"),
        UTC,
        [("dates_of_two_orders", 4, "date_order")],
    ),
    (
        "both decimal marks",
        log(*good(), "2026-06-20 09:00;5,5"),
        UTC,
        [("both_decimal_marks", None, "decimal_mark")],
    ),
    (
        "degrees of 38",
        log("2026-06-20 01:00;38", "2026-06-20 02:00;41"),
        UTC,
        [("fahrenheit_suspected", 1, "unit")],
    ),
    (
        "two units",
        log("2026-06-20 01:00;5", "2026-06-20 02:00;41 °F"),
        UTC,
        [("units_differ", 3, "unit")],
    ),
    (
        "two channels",
        log("2026-06-20 01:00;5;6", head="Time;Temp 1 (°C);Temp 2 (°C)"),
        UTC,
        [("several_temperature_columns", 1, "temperature_column")],
    ),
    (
        "humidity alone",
        log("2026-06-20 01:00;55", head="Time;Humidity (%)"),
        UTC,
        [("no_temperature_column", 1, "temperature_column")],
    ),
    (
        "two times",
        log("2026-06-20 01:00;2026-06-20 03:00;5", head="Time;Local time;Temp (°C)"),
        UTC,
        [("several_time_columns", 1, "time_columns")],
    ),
    (
        "two zones stated",
        "Time zone: UTC\nDisplay time zone: +02:00\n" + log(*good()),
        LoggerChoices(),
        [("zone_statements_differ", 2, "zone")],
    ),
    (
        "over a change of summer time",
        log("2026-03-28 12:00;5", "2026-03-30 12:00;5"),
        LoggerChoices(zone="Europe/Berlin"),
        [("summer_time_changes", None, "clock")],
    ),
    (
        "clock put on",
        log("2026-03-29 00:00;5", "2026-03-29 01:00;5", "2026-03-29 03:00;5", "2026-03-29 04:00;5"),
        LoggerChoices(zone="Europe/Berlin"),
        [("jump_of_an_hour", 4, "clock")],
    ),
    (
        "clock put back, zone without summer time",
        log(*(f"2026-10-25 {clock};5" for clock in ("02:00", "02:30", "02:00", "02:30", "03:00"))),
        LoggerChoices(zone="+02:00"),
        [("jump_of_an_hour", 4, "clock")],
    ),
]

CONTRADICTIONS: list[tuple[str, bytes | str, LoggerChoices, list[Told]]] = [
    (
        "delimiter",
        log(*good()),
        LoggerChoices(zone="UTC", delimiter=","),
        [("delimiter_contradicted", 2, "")],
    ),
    (
        "decimal mark",
        log(*good()),
        LoggerChoices(zone="UTC", decimal_mark=","),
        [("decimal_mark_contradicted", 2, "")],
    ),
    ("unit", log(*good()), LoggerChoices(zone="UTC", unit="F"), [("unit_contradicted", 1, "")]),
    (
        "order of date",
        log("05/13/2026 01:00;5", "05/14/2026 01:00;5"),
        LoggerChoices(zone="UTC", date_order="day_first"),
        [("date_order_contradicted", 2, "")],
    ),
    (
        "order of an ISO date",
        log(*good()),
        LoggerChoices(zone="UTC", date_order="day_first"),
        [("date_order_contradicted", 2, "")],
    ),
    (
        "zone of the cells",
        log("2026-06-20T01:00+02:00;5", "2026-06-20T02:00+02:00;5"),
        UTC,
        [("zone_contradicted", 2, "")],
    ),
    ("zone stated above", "Time zone: +02:00\n\n" + log(*good()), UTC, [("zone_contradicted", 1, "")]),
    ("zone of no place", log(*good()), LoggerChoices(zone="Europe/Atlantis"), [("zone_unknown", None, "")]),
    (
        "column that is not there",
        log(*good()),
        LoggerChoices(zone="UTC", temperature_column="Probe"),
        [("temperature_column_unknown", 1, "Probe")],
    ),
    (
        "humidity as temperature",
        log("2026-06-20 01:00;5;50", head="Time;Temp (°C);Humidity"),
        LoggerChoices(zone="UTC", temperature_column="Humidity"),
        [("temperature_column_contradicted", 1, "Humidity")],
    ),
    (
        "temperature as time",
        log(*good()),
        LoggerChoices(zone="UTC", time_columns=(TEMPERATURE,)),
        [("time_columns_contradicted", 1, TEMPERATURE)],
    ),
    (
        "a clock that follows a fixed offset",
        log(*(f"2026-10-25 {clock};5" for clock in ("02:00", "02:30", "02:00", "02:30", "03:00"))),
        LoggerChoices(zone="+02:00", clock="follows"),
        [("clock_contradicted", 4, "")],
    ),
]

SUMMER_TIME: list[tuple[str, bytes | str, list[Told]]] = [
    (
        "an hour that is not",
        log(*(f"2026-03-29 {clock};5" for clock in ("00:30", "01:30", "02:30", "03:30"))),
        [("time_does_not_exist", 4, TIME)],
    ),
    (
        "an hour that may be either",
        log(*(f"2026-10-25 {clock};5" for clock in ("00:30", "01:30", "02:30", "03:30"))),
        [("ambiguous_time", 4, TIME)],
    ),
]

AS_IT_IS = [
    *[(kind, content, UTC, expected) for kind, content, expected in [*WHOLE_FILE, *ROWS]],
    *QUESTIONS,
    *CONTRADICTIONS,
    *[(kind, content, BERLIN, expected) for kind, content, expected in SUMMER_TIME],
]


@pytest.mark.parametrize(
    ("content", "choices", "expected"), [row[1:] for row in AS_IT_IS], ids=[row[0] for row in AS_IT_IS]
)
def test_a_file_that_is_wrong_says_where_and_why(
    content: bytes | str, choices: LoggerChoices, expected: list[Told]
) -> None:
    assert told(content, choices) == expected


def test_kinds_are_listed_once() -> None:
    kinds = [row[0] for row in AS_IT_IS]
    assert len(set(kinds)) == len(kinds) >= 40


def test_few_unreadable_rows_are_notes_and_more_are_faults() -> None:
    few = logger_text(log(*good(7), *["2026-06-20 09:00;LO"] * 2).encode())
    readings = logger_readings(few, logger_layout(few, UTC))
    assert readings.applicable and len(readings.epoch_seconds) == 7
    many = logger_text(log(*good(7), *["2026-06-20 09:00;LO"] * 3).encode())
    readings = logger_readings(many, logger_layout(many, UTC))
    assert [(each.code, each.row) for each in readings.faults] == [
        ("not_a_number", row) for row in (9, 10, 11)
    ]
    assert {each.value for each in readings.faults} == {"LO"}


def test_a_share_of_a_long_file_may_be_unreadable() -> None:
    text = logger_text(log(*by_the_minute(95), *["x;y"] * 5).encode())
    assert logger_readings(text, logger_layout(text, UTC)).applicable
    text = logger_text(log(*by_the_minute(95), *["x;y"] * 6).encode())
    assert not logger_readings(text, logger_layout(text, UTC)).applicable


def test_a_hundred_of_a_kind_are_listed_and_all_counted() -> None:
    text = logger_text(log(*by_the_minute(90), *["x;y"] * 150).encode())
    readings = logger_readings(text, logger_layout(text, UTC))
    assert len(readings.faults) == 100
    assert readings.counts == {"not_a_time": 150}


def test_an_open_layout_is_not_read() -> None:
    text = logger_text(log(*good()).encode())
    with pytest.raises(LoggerFileError, match=r"layout_open.*zone"):
        logger_readings(text, logger_layout(text))


def test_words_that_are_no_choice_are_refused() -> None:
    text = logger_text(log(*good()).encode())
    with pytest.raises(ValueError, match="unit is 'R'; allowed: 'C', 'F', 'K'"):
        logger_layout(text, LoggerChoices(unit="R"))  # type: ignore[arg-type]
