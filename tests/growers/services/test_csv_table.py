"""Tables are read whole or refused with row, column, value and what is allowed."""

import pytest

from growers.errors import FieldProblem, InvalidInput
from growers.services import csv_table
from growers.services.csv_table import CellReader, TableRow, read_table


def rows(text: str) -> list[TableRow]:
    return read_table(text.encode(), required=("name", "count"), optional=("note",))


def refusal(content: bytes | str) -> InvalidInput:
    raw = content.encode() if isinstance(content, str) else content
    with pytest.raises(InvalidInput) as caught:
        read_table(raw, required=("name", "count"), optional=("note",))
    return caught.value


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_tables_of_common_programs_read_alike(delimiter: str, end: str, mark: bytes) -> None:
    text = end.join(delimiter.join(cells) for cells in (["Name ", "count"], ["a", "1"], ["é", "2"], []))
    read = read_table(mark + text.encode(), required=("name", "count"))
    assert read == [TableRow(2, {"name": "a", "count": "1"}), TableRow(3, {"name": "é", "count": "2"})]


def test_rows_are_counted_as_a_spreadsheet_does_over_blank_rows_and_cells_of_two_lines() -> None:
    assert [row.number for row in rows('name,count\n"a\nb",1\n\n,\nc,2\n')] == [2, 5]


def test_missing_cells_at_the_end_are_blank_and_formulas_are_text() -> None:
    assert rows("name,count,note\n=1+1,2\n")[0].cells == {"name": "=1+1", "count": "2", "note": ""}


def test_the_apostrophe_that_guards_an_exported_cell_is_taken_away() -> None:
    (row,) = read_table(b"a,b,c\n'=1,''-2,'Dawn'\n", required=("a", "b", "c"))
    assert row.cells == {"a": "=1", "b": "'-2", "c": "'Dawn'"}


def test_a_missing_column_is_named_with_those_needed() -> None:
    error = refusal("name,note\na,b\n")
    assert error.detail == "Row 1: the column count is missing; needed: name, count."
    assert error.problems[0].pointer == "row 1 column count"


def test_an_unknown_and_a_doubled_column_are_named() -> None:
    assert "it is 'colour'; allowed: name, count, note." in refusal("name,count,colour\n").detail
    assert refusal("name,count,name\n").problems[0].code == "column_twice"


def test_too_many_cells_and_too_long_cells_name_their_row() -> None:
    assert refusal("name,count\na,1\nb,2,3\n").detail == "Row 3: 3 cells; allowed: 2, one for each column."
    long = refusal(f"name,count\n{'a' * 1001},1\n")
    assert (long.problems[0].pointer, long.problems[0].code) == ("row 2 column name", "cell_too_long")
    assert len(long.detail) < 200


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "table_empty"),
        (b"\n\n", "table_empty"),
        (b"name,count\n\xff,1\n", "not_utf8"),
        (b"name,count\n\0,1\n", "not_text"),
        (b'name,count\n"a,1\n', "not_csv"),
        (b"name,count\n" + b"a" * csv_table.LONGEST_TABLE_BYTES, "table_too_long"),
        (b"name,count\n" + b"a,1\n" * (csv_table.MOST_ROWS + 1), "too_many_rows"),
    ],
)
def test_what_is_no_table_is_refused(content: bytes, code: str) -> None:
    assert refusal(content).problems[0].code == code


def test_a_wrong_byte_is_found_in_its_line() -> None:
    assert refusal(b"name,count\na,1\n\xe9,1\n").detail == (
        "Line 3: it holds the byte 0xe9; allowed: text in UTF-8."
    )


def test_no_more_than_a_hundred_problems_are_listed_and_all_are_counted() -> None:
    error = refusal("name,count\n" + "a,1,2\n" * 150)
    assert len(error.problems) == 100
    assert error.detail.endswith("(150 problems in all.)")


def cell(value: str, decimal_mark: csv_table.DecimalMark = ".") -> tuple[CellReader, list[FieldProblem]]:
    problems: list[FieldProblem] = []
    return CellReader(TableRow(7, {"x": value}), problems, decimal_mark=decimal_mark), problems


@pytest.mark.parametrize(("value", "expected"), [("3", 3.0), ("-1.5", -1.5), ("+2", 2.0), ("", None)])
def test_numbers_are_read(value: str, expected: float | None) -> None:
    reader, problems = cell(value)
    assert reader.number("x", -5, 5) == expected
    assert not problems


@pytest.mark.parametrize("value", ["nan", "inf", "1e1", "1_0", "٣", "1,5", "1.", "5.01", "-6", "--1", "0x1"])
def test_what_is_not_a_plain_number_in_range_is_refused(value: str) -> None:
    reader, problems = cell(value)
    assert reader.number("x", -5, 5) is None
    assert problems[0].detail == (
        f"Row 7, column x: it is {value!r}; allowed: -5 to 5, written with a decimal point."
    )


def test_a_decimal_comma_is_declared_not_guessed() -> None:
    reader, problems = cell("1,5", decimal_mark=",")
    assert reader.number("x", 0, 5) == 1.5
    assert not problems
    reader, problems = cell("1.5", decimal_mark=",")
    assert reader.number("x", 0, 5) is None
    assert "a decimal comma" in problems[0].detail


@pytest.mark.parametrize(
    "value", ["1.6.2026", "20260601", "2026-W23-1", "2026-02-30", "2026-6-1", "06/01/2026"]
)
def test_only_dates_that_cannot_be_misread_are_dates(value: str) -> None:
    reader, problems = cell(value)
    assert reader.day("x") is None
    assert problems[0].detail == f"Row 7, column x: it is {value!r}; allowed: a date such as 2026-06-01."


@pytest.mark.parametrize("value", ["7:30", "25:00", "07:30:00", "07+01"])
def test_only_times_of_day_are_hours(value: str) -> None:
    reader, problems = cell(value)
    assert reader.hour("x") is None
    assert problems[0].code == "not_a_time"


def test_a_needed_cell_may_not_be_blank() -> None:
    reader, problems = cell("")
    assert reader.integer("x", 1, 9, needed=True) is None
    assert reader.day("x", needed=True) is None
    assert reader.text("x") == ""
    assert reader.choice("x", ("yes", "no")) == ""
    assert [problem.value for problem in problems] == ["missing"] * 4
