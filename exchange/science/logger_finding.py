"""Gathers findings of a logger's file, at most a hundred of each code and column, all of them counted."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from exchange.science.arrays import IntegerArray
from exchange.science.logger_text import FindingKind, LoggerFinding, shortened

MOST_LISTED = 100


class Gathered:
    """Findings of one file; places are positions among its rows, ``row`` holds their lines."""

    def __init__(self, row: IntegerArray) -> None:
        self.row = row
        self.counts: Counter[str] = Counter()
        self._listed: Counter[tuple[str, str]] = Counter()
        self._decided: list[LoggerFinding] = []
        self._left_out: list[LoggerFinding] = []

    def rows(
        self,
        code: str,
        places: IntegerArray,
        column: str = "",
        cells: Sequence[str] = (),
        *,
        kind: FindingKind | None = None,
    ) -> None:
        """Note one finding a place; without a kind these rows are left out and judged together."""
        if not len(places):
            return
        self.counts[code] += len(places)
        listed = self._left_out if kind is None else self._decided
        for place in places[:MOST_LISTED]:
            value = shortened(cells[place]) if cells else ""
            listed.append(LoggerFinding(code, kind or "note", int(self.row[place]), column, value))

    def at(self, code: str, place: int, *, column: str = "", **parameters: float | int) -> None:
        """Note one finding with parameters at a row that is read."""
        self.counts[code] += 1
        self._listed[code, column] += 1
        if self._listed[code, column] <= MOST_LISTED:
            row = int(self.row[place])
            self._decided.append(LoggerFinding(code, "note", row, column, "", parameters))

    def note(self, code: str, row: int) -> None:
        """Note something at a line that is not a row of the table."""
        self.counts[code] += 1
        if self.counts[code] <= MOST_LISTED:
            self._decided.append(LoggerFinding(code, "note", row))

    def fault(self, code: str, **parameters: float | int) -> None:
        """Note that the whole file cannot be applied."""
        self.counts[code] += 1
        self._decided.append(LoggerFinding(code, "fault", parameters=parameters))

    def judge(self, kind: FindingKind) -> None:
        """Decide what the rows that were left out mean for the file."""
        self._left_out = [replace(finding, kind=kind) for finding in self._left_out]

    def findings(self) -> tuple[LoggerFinding, ...]:
        """All that is listed, by line; what concerns the whole file first."""
        return tuple(sorted([*self._decided, *self._left_out], key=lambda finding: finding.row or 0))
