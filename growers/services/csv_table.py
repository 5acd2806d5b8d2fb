"""Reads CSV tables whole or not at all; what is wrong names row, column, value and what is allowed.

A cell is text, whatever it begins with; the apostrophe that keeps a spreadsheet from reckoning it is taken
away. The header is row 1, as in a spreadsheet.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Literal

from growers.errors import FieldProblem, InvalidInput
from growers.selectors.csv_cell import restored

LONGEST_TABLE_BYTES = 1_000_000
MOST_ROWS = 20_000
LONGEST_CELL = 1_000
LONGEST_SHOWN = 60
MOST_PROBLEMS = 100
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
HOUR = re.compile(r"[0-9]{2}:[0-9]{2}")
NUMBER = re.compile(r"[+-]?[0-9]{1,15}(\.[0-9]{1,15})?")
WHOLE_NUMBER = re.compile(r"[0-9]{1,9}")

DecimalMark = Literal[".", ","]


@dataclass(frozen=True)
class TableRow:
    """One line of a table that is not blank."""

    number: int
    cells: dict[str, str]


def cell_problem(row: int, column: str, value: str, allowed: str, *, code: str) -> FieldProblem:
    """A cell that holds what is not allowed, as one sentence."""
    said = repr(value if len(value) <= LONGEST_SHOWN else f"{value[:LONGEST_SHOWN]}…") if value else "missing"
    detail = f"Row {row}, column {column}: it is {said}; allowed: {allowed}."
    return FieldProblem(f"row {row} column {column}", code, detail, said, allowed)


def refuse(problems: Sequence[FieldProblem], *, file: str = "") -> None:
    """Raise what is wrong as one error, a hundred problems at most; none: do nothing."""
    if problems:
        raise _refusal(problems, file)


def _refusal(problems: Sequence[FieldProblem], file: str = "") -> InvalidInput:
    more = f" ({len(problems)} problems in all.)" if len(problems) > 1 else ""
    name = f"{file}: " if file else ""
    return InvalidInput(f"{name}{problems[0].detail}{more}", problems=tuple(problems[:MOST_PROBLEMS]))


def _table_refusal(pointer: str, code: str, sentence: str, file: str) -> InvalidInput:
    return _refusal([FieldProblem(pointer, code, f"{pointer.capitalize()}: {sentence}")], file)


def read_table(
    content: bytes, *, required: Sequence[str], optional: Sequence[str] = (), file: str = ""
) -> list[TableRow]:
    """All rows of a UTF-8 table with commas, semicolons or tabs between its cells."""
    text = _decoded(content, file)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    try:
        lines = list(_numbered(reader, file))
    except csv.Error as error:
        sentence = f"it is not CSV ({error}); allowed: cells quoted as in RFC 4180."
        raise _table_refusal(f"line {reader.line_num}", "not_csv", sentence, file) from error
    if not lines:
        raise _table_refusal("row 1", "table_empty", "the table is empty; allowed: a header row.", file)
    columns = _columns(lines[0][1], required, optional, file)
    return _rows(lines[1:], columns, file)


def _decoded(content: bytes, file: str) -> str:
    if len(content) > LONGEST_TABLE_BYTES:
        sentence = f"it has {len(content)} bytes; allowed: at most {LONGEST_TABLE_BYTES}."
        raise _table_refusal("table", "table_too_long", sentence, file)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        sentence = f"it holds the byte 0x{content[error.start]:02x}; allowed: text in UTF-8."
        raise _table_refusal(f"line {line}", "not_utf8", sentence, file) from error
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        sentence = "it holds a zero byte; allowed: text in UTF-8."
        raise _table_refusal(f"line {line}", "not_text", sentence, file)
    return text


def _delimiter(text: str) -> str:
    header = text.split("\n", 1)[0]
    return max(",;\t", key=header.count)


def _numbered(reader: Iterator[list[str]], file: str) -> Iterator[tuple[int, list[str]]]:
    for number, cells in enumerate(reader, start=1):
        if number > MOST_ROWS + 1:
            sentence = f"it has more rows; allowed: at most {MOST_ROWS} and the header."
            raise _table_refusal("table", "too_many_rows", sentence, file)
        if any(cell.strip() for cell in cells):
            yield number, [restored(cell.strip()) for cell in cells]


def _columns(header: list[str], required: Sequence[str], optional: Sequence[str], file: str) -> list[str]:
    columns = [cell.casefold() for cell in header]
    problems = [_missing_column(column, required) for column in required if column not in columns]
    for position, column in enumerate(columns):
        if column not in (*required, *optional):
            known = ", ".join([*required, *optional])
            problems.append(cell_problem(1, column or "header", column, known, code="column_unknown"))
        elif column in columns[:position]:
            allowed = "every column once"
            problems.append(cell_problem(1, column, column, allowed, code="column_twice"))
    refuse(problems, file=file)
    return columns


def _missing_column(column: str, required: Sequence[str]) -> FieldProblem:
    detail = f"Row 1: the column {column} is missing; needed: {', '.join(required)}."
    return FieldProblem(f"row 1 column {column}", "column_missing", detail, "missing", ", ".join(required))


def _rows(lines: list[tuple[int, list[str]]], columns: list[str], file: str) -> list[TableRow]:
    wrong = [problem for number, cells in lines for problem in _row_problems(number, cells, columns)]
    refuse(wrong, file=file)
    return [TableRow(number, _by_column(cells, columns)) for number, cells in lines]


def _by_column(cells: list[str], columns: list[str]) -> dict[str, str]:
    blank = [""] * (len(columns) - len(cells))
    return dict(zip(columns, [*cells, *blank], strict=False))


def _row_problems(number: int, cells: list[str], columns: list[str]) -> list[FieldProblem]:
    if any(cells[len(columns) :]):
        sentence = f"Row {number}: {len(cells)} cells; allowed: {len(columns)}, one for each column."
        return [FieldProblem(f"row {number}", "too_many_cells", sentence)]
    allowed = f"at most {LONGEST_CELL} characters"
    return [
        cell_problem(number, column, cell, allowed, code="cell_too_long")
        for column, cell in zip(columns, cells, strict=False)
        if len(cell) > LONGEST_CELL
    ]


class CellReader:
    """Reads the cells of one row by type; a cell that is wrong reads as None and is noted in ``problems``."""

    def __init__(
        self, row: TableRow, problems: list[FieldProblem], *, decimal_mark: DecimalMark = "."
    ) -> None:
        self.row = row
        self.problems = problems
        self.decimal_mark = decimal_mark

    def refuse(self, column: str, value: str, allowed: str, *, code: str) -> None:
        """Note that a cell of this row is wrong."""
        self.problems.append(cell_problem(self.row.number, column, value, allowed, code=code))

    def _cell(self, column: str, allowed: str, *, needed: bool) -> str:
        value = self.row.cells.get(column, "")
        if needed and not value:
            self.refuse(column, value, allowed, code="blank")
        return value

    def text(self, column: str, *, longest: int = LONGEST_CELL, needed: bool = True) -> str:
        """The cell as it is; blank only where it is not needed."""
        allowed = f"1 to {longest} characters"
        value = self._cell(column, allowed, needed=needed)
        if len(value) > longest:
            self.refuse(column, value, allowed, code="too_long")
        return value

    def choice(self, column: str, allowed: Sequence[str], *, default: str = "") -> str:
        """One of the allowed words; blank reads as ``default`` where there is one."""
        value = self.row.cells.get(column, "") or default
        if value not in allowed:
            self.refuse(column, value, ", ".join(allowed), code="not_a_choice")
            return ""
        return value

    def day(self, column: str, *, needed: bool = False) -> date | None:
        """A civil date written as 2026-06-01; other orders of day and month would be guesses."""
        allowed = "a date such as 2026-06-01"
        value = self._cell(column, allowed, needed=needed)
        if not value:
            return None
        try:
            # fromisoformat alone would also take 20260601 and the week date 2026-W23-1.
            return date.fromisoformat(value if DAY.fullmatch(value) else "")
        except ValueError:
            self.refuse(column, value, allowed, code="not_a_date")
            return None

    def hour(self, column: str) -> time | None:
        """A time of day written as 07:30; blank reads as None."""
        value = self.row.cells.get(column, "")
        if not value:
            return None
        try:
            return time.fromisoformat(value if HOUR.fullmatch(value) else "")
        except ValueError:
            self.refuse(column, value, "a time such as 07:30", code="not_a_time")
            return None

    def number(self, column: str, low: float, high: float) -> float | None:
        """A number from ``low`` to ``high``; blank reads as None."""
        value = self.row.cells.get(column, "")
        if not value:
            return None
        plain = value if self.decimal_mark == "." else value.replace(".", " ").replace(",", ".")
        number = float(plain) if NUMBER.fullmatch(plain) else None
        if number is None or not low <= number <= high:
            mark = "point" if self.decimal_mark == "." else "comma"
            allowed = f"{low:g} to {high:g}, written with a decimal {mark}"
            self.refuse(column, value, allowed, code="not_in_range")
            return None
        return number

    def integer(self, column: str, low: int, high: int, *, needed: bool = False) -> int | None:
        """A whole number from ``low`` to ``high``."""
        allowed = f"a whole number from {low} to {high}"
        value = self._cell(column, allowed, needed=needed)
        if not value:
            return None
        if not WHOLE_NUMBER.fullmatch(value) or not low <= int(value) <= high:
            self.refuse(column, value, allowed, code="not_in_range")
            return None
        return int(value)
