"""Where the table stands in a logger's file: delimiter, heading, columns, and what each column holds."""

import csv
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from exchange.science.constants import LOGGER_CELLS
from exchange.science.logger_number import NUMBER
from exchange.science.logger_stamp import EPOCH, STAMP, TIME, date_fields
from exchange.science.logger_text import LoggerFileError, LoggerText

Delimiter = Literal[",", ";", "\t", "|"]
CellKind = Literal["stamp", "date", "time", "epoch", "number", "text", ""]

DELIMITERS: tuple[Delimiter, ...] = (",", ";", "\t", "|")
LINES_SEEN = 400
LINES_ABOVE = 20
MOST_COLUMNS = 64
LEAST_SHARE = 0.25
MOST_CELLS = int(LOGGER_CELLS.value)
HEADING_WORD = re.compile(
    r"temp|time|date|stamp|zeit|datum|fecha|hora|heure|°|celsius|fahrenheit", re.IGNORECASE
)
STATEMENT_WORD = re.compile(r"zone|unit|interval", re.IGNORECASE)


@dataclass(frozen=True)
class LoggerTable:
    r"""The table inside a file.

    Parameters
    ----------
    delimiter : {",", ";", "\t", "|"}
    heading_row : int or None
        Line of the heading, the first line of the file is 1; None if there is none.
    first_row : int
        Line of the first row of the table.
    columns : tuple of str
        Names, each once: of the heading, or ``column 1``, ``column 2`` ….
    """

    delimiter: Delimiter
    heading_row: int | None
    first_row: int
    columns: tuple[str, ...]


def split_line(line: str, delimiter: str) -> list[str] | None:
    """Cells of a line, without blanks around them; None if a quote is wrong or not closed."""
    if '"' not in line:
        return list(map(str.strip, line.split(delimiter)))
    try:
        cells = next(csv.reader([line], delimiter=delimiter, strict=True, skipinitialspace=True))
    except csv.Error:
        return None
    return list(map(str.strip, cells))


def cell_kind(cell: str) -> CellKind:
    """What a cell looks like by itself; empty if it is blank."""
    if not cell:
        return ""
    if STAMP.fullmatch(cell):
        return "stamp"
    if TIME.fullmatch(cell):
        return "time"
    # 10.03.26 is a date, and no number.
    if date_fields(cell) is not None:
        return "date"
    if EPOCH.fullmatch(cell):
        return "epoch"
    return "number" if NUMBER.fullmatch(cell) else "text"


def column_kinds(rows: Sequence[Sequence[str]], columns: int) -> list[CellKind]:
    """What the cells of each column look like; text only where fewer than a quarter are anything else."""
    return [_column_kind([row[column] for row in rows if column < len(row)]) for column in range(columns)]


def _column_kind(cells: Sequence[str]) -> CellKind:
    seen = Counter(cell_kind(cell) for cell in cells if cell)
    if not seen:
        return ""
    total, _ = seen.total(), seen.pop("text", 0)
    best: CellKind = max(seen, key=lambda kind: seen[kind], default="text")
    return best if seen[best] >= LEAST_SHARE * total else "text"


def _is_reading(cells: Sequence[str] | None) -> bool:
    if not cells or len(cells) > MOST_COLUMNS:
        return False
    kinds = Counter(map(cell_kind, cells))
    timed = kinds["stamp"] or (kinds["date"] and kinds["time"]) or kinds["epoch"]
    return bool(timed and kinds["number"])


def _is_heading(cells: Sequence[str] | None) -> bool:
    if not cells or not 2 <= len(_cut(cells)) <= MOST_COLUMNS or STATEMENT_WORD.search(cells[0]):
        return False
    plain = all(cell_kind(cell) in ("text", "") for cell in cells)
    return plain and any(HEADING_WORD.search(cell) for cell in cells)


def _cut(cells: Sequence[str]) -> list[str]:
    length = max((place for place, cell in enumerate(cells, start=1) if cell), default=0)
    return list(cells[:length])


def find_table(text: LoggerText, delimiter: Delimiter | None = None) -> LoggerTable:
    """Find the table: most lines with a time and a number decide the delimiter.

    Parameters
    ----------
    text : LoggerText
        The file.
    delimiter : str, optional
        The only one to try.

    Returns
    -------
    LoggerTable
        Heading and columns; the heading is the nearest line above the first reading that names a time or
        a temperature and holds no number.

    Raises
    ------
    LoggerFileError
        ``no_table`` if no line has a time and a number; ``too_many_cells_in_file`` above four million.
    """
    tried = DELIMITERS if delimiter is None else (delimiter,)
    found = {each: _readings(text.lines[:LINES_SEEN], each) for each in tried}
    best = max(tried, key=lambda each: len(found[each]))
    if not found[best]:
        raise LoggerFileError("no_table")
    _check_cells(text.lines, best)
    width = Counter(length for _, length in found[best]).most_common(1)[0][0]
    first = next(row for row, length in found[best] if length == width)
    heading = _heading_row(text.lines, first, best)
    if heading is None:
        return LoggerTable(best, None, first, tuple(f"column {number + 1}" for number in range(width)))
    names = _cut(split_line(text.lines[heading - 1], best) or [])
    return LoggerTable(best, heading, heading + 1, _unique(names))


def _check_cells(lines: Iterable[str], delimiter: str) -> None:
    cells = sum(line.count(delimiter) + 1 for line in lines)
    if cells > MOST_CELLS:
        raise LoggerFileError("too_many_cells_in_file", cells=cells, allowed=MOST_CELLS)


def table_rows(text: LoggerText, table: LoggerTable) -> Iterator[tuple[int, list[str] | None]]:
    """Line number and cells of each row that is not blank; None where a quote is not closed."""
    for row, line in enumerate(text.lines[table.first_row - 1 :], start=table.first_row):
        cells = split_line(line, table.delimiter)
        if cells is None or any(cells):
            yield row, cells


def cell_at(cells: Sequence[str], place: int) -> str:
    """The cell of a column; blank where the row is shorter."""
    return cells[place] if place < len(cells) else ""


def joined_cells(cells: Sequence[str], places: Sequence[int]) -> str:
    """The time of a row: one cell, or its date and its time."""
    if len(places) == 1:
        return cell_at(cells, places[0])
    return " ".join(cell_at(cells, place) for place in places).strip()


def _readings(lines: Iterable[str], delimiter: str) -> list[tuple[int, int]]:
    split = ((row, split_line(line, delimiter)) for row, line in enumerate(lines, start=1))
    return [(row, len(cells)) for row, cells in split if cells and _is_reading(cells)]


def _heading_row(lines: Sequence[str], first: int, delimiter: str) -> int | None:
    for row in range(first - 1, max(0, first - 1 - LINES_ABOVE), -1):
        if _is_heading(split_line(lines[row - 1], delimiter)):
            return row
    return None


def _unique(names: Iterable[str]) -> tuple[str, ...]:
    seen: list[str] = []
    for number, name in enumerate(names, start=1):
        plain = name or f"column {number}"
        repeated = sum(1 for each in seen if each == plain or each.startswith(f"{plain} #"))
        seen.append(f"{plain} #{repeated + 1}" if repeated else plain)
    return tuple(seen)
