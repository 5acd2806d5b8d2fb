"""Readings of a logger's file, and what is wrong with it row by row."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray
from exchange.science.logger_choice import LoggerLayout
from exchange.science.logger_clock import hour_jumps, newest_first, utc_seconds
from exchange.science.logger_finding import Gathered
from exchange.science.logger_history import gaps, marked_gaps, usual_interval_seconds
from exchange.science.logger_number import Unit, in_celsius, numbers_of
from exchange.science.logger_stamp import SECONDS_PER_HOUR, local_seconds, stamps_of
from exchange.science.logger_table import cell_at, joined_cells, table_rows
from exchange.science.logger_text import LoggerFileError, LoggerFinding, LoggerText
from exchange.science.logger_zone import IN_CELLS, fixed_offset_seconds, zone_spans
from exchange.science.temperature_history import accepted_readings

FEWEST_READINGS = 2


@dataclass(frozen=True)
class LoggerReadings:
    """What a file holds.

    Parameters
    ----------
    epoch_seconds : FloatArray
        Shape (k,), seconds since 1970-01-01 UTC, each later than the one before.
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.
    row : IntegerArray
        Shape (k,), line of each reading in the file; of the first of those that were averaged.
    interval_seconds : float
        Median interval; NaN for fewer than two readings.
    rows_in_file : int
        Rows of the table that are not blank and not the heading again.
    findings : tuple of LoggerFinding
        By row; of each code and column at most the first hundred.
    counts : mapping of str to int
        How often each code was found, the unlisted ones included.
    """

    epoch_seconds: FloatArray
    temperature_c: FloatArray
    row: IntegerArray
    interval_seconds: float
    rows_in_file: int
    findings: tuple[LoggerFinding, ...]
    counts: Mapping[str, int]

    @property
    def faults(self) -> tuple[LoggerFinding, ...]:
        """Findings with which the file cannot be applied."""
        return tuple(finding for finding in self.findings if finding.kind == "fault")

    @property
    def applicable(self) -> bool:
        """Whether the file can be applied."""
        return not self.faults


@dataclass(frozen=True)
class _Way:
    """The answers of a complete layout."""

    layout: LoggerLayout
    time_columns: tuple[str, ...]
    temperature_column: str
    unit: Unit
    zone: str

    def place(self, column: str) -> int:
        return self.layout.columns.index(column)


def logger_readings(text: LoggerText, layout: LoggerLayout) -> LoggerReadings:
    """Read a file whose layout is complete.

    Parameters
    ----------
    text : LoggerText
        The file.
    layout : LoggerLayout
        Of the same file, without questions or contradictions.

    Returns
    -------
    LoggerReadings
        In order of time, those of one instant averaged. Rows that cannot be read are left out and
        listed: as notes, or as faults where they are more than 5 % of the rows and more than two.

    Raises
    ------
    LoggerFileError
        ``layout_open`` if the layout is not complete.

    Notes
    -----
    Averaging of equal time stamps as in Tong & Lock 2015, JSM Biopharmaceutical Section, 2065–2070.
    """
    return _Reader(text, _way(layout)).readings()


def _way(layout: LoggerLayout) -> _Way:
    times, temperature = layout.time_columns.value, layout.temperature_column.value
    unit, zone = layout.unit.value, layout.zone.value
    if not layout.complete or times is None or temperature is None or unit is None or zone is None:
        open_ = [*(each.name for each in layout.questions), *(each.code for each in layout.contradictions)]
        raise LoggerFileError("layout_open", open=", ".join(open_))
    return _Way(layout, times, temperature, unit, zone)


class _Reader:
    """One pass over one file; ``left_out`` marks the rows that some check has refused."""

    def __init__(self, text: LoggerText, way: _Way) -> None:
        self.way = way
        lines = list(table_rows(text, way.layout.table))
        again = [cells is not None and tuple(cells) == way.layout.columns for _, cells in lines]
        kept = [line for line, heading in zip(lines, again, strict=True) if not heading]
        self.row = np.array([row for row, _ in kept], dtype=np.int64)
        self.cells = [cells for _, cells in kept]
        self.found = Gathered(self.row)
        for (row, _), heading in zip(lines, again, strict=True):
            if heading:
                self.found.note("heading_repeated", row)
        self.left_out = np.zeros(len(kept), dtype=bool)

    def _column(self, columns: Sequence[str]) -> list[str]:
        places = [self.way.place(column) for column in columns]
        if len(places) == 1:
            return ["" if cells is None else cell_at(cells, places[0]) for cells in self.cells]
        return ["" if cells is None else joined_cells(cells, places) for cells in self.cells]

    def _leave_out(self, code: str, wrong: BoolArray, column: str = "", cells: Sequence[str] = ()) -> None:
        new = wrong & ~self.left_out
        if new.any():
            self.found.rows(code, np.flatnonzero(new), column, cells)
            self.left_out |= new

    def readings(self) -> LoggerReadings:
        width = len(self.way.layout.columns)
        self._leave_out("unclosed_quote", np.array([cells is None for cells in self.cells], dtype=bool))
        self._leave_out("too_many_cells", np.array([_overfull(cells, width) for cells in self.cells], bool))
        local, offset = self._clock_times()
        temperature = self._temperatures()
        logged = np.flatnonzero(~self.left_out)
        if newest_first((local - offset if self.way.zone == IN_CELLS else local)[logged]):
            logged = logged[::-1]
            self.found.rows("newest_first", logged[-1:], kind="note")
        seconds, logged = self._utc(local, offset, logged)
        return self._result(seconds, temperature[logged], logged)

    def _clock_times(self) -> tuple[FloatArray, FloatArray]:
        columns, cells = self.way.time_columns, self._column(self.way.time_columns)
        name = " + ".join(columns)
        stamps = stamps_of(cells)
        local = local_seconds(stamps, self.way.layout.date_order.value)
        self._leave_out("cell_missing", _blank(cells), name)
        self._leave_out("not_a_time", np.isnan(local), name, cells)
        if self.way.zone == IN_CELLS:
            self._leave_out("offset_missing", np.isnan(stamps.offset_seconds), name, cells)
        return local, stamps.offset_seconds

    def _temperatures(self) -> FloatArray:
        column, unit = self.way.temperature_column, self.way.unit
        cells = self._column([column])
        numbers = numbers_of(cells, self.way.layout.decimal_mark.value)
        self._leave_out("cell_missing", _blank(cells), column)
        self._leave_out("not_a_number", np.isnan(numbers.value), column, cells)
        self._leave_out("unit_differs", (numbers.unit != "") & (numbers.unit != unit), column, cells)
        celsius = in_celsius(numbers.value, unit)
        low, high = constants.READING_MINIMUM_C.value, constants.READING_MAXIMUM_C.value
        self._leave_out("impossible_temperature", (celsius < low) | (celsius > high), column, cells)
        return celsius

    def _utc(
        self, local: FloatArray, offset: FloatArray, logged: IntegerArray
    ) -> tuple[FloatArray, IntegerArray]:
        if self.way.zone == IN_CELLS or not logged.size:
            return local[logged] - offset[logged], logged
        clock = local[logged]
        spans = zone_spans(self.way.zone, float(clock.min()), float(clock.max()))
        named = fixed_offset_seconds(self.way.zone) is None
        jumps = logged[hour_jumps(clock, spans.changes if named else None)]
        cells = self._column(self.way.time_columns)
        name = " + ".join(self.way.time_columns)
        self.found.rows("jump_of_an_hour", np.sort(jumps), name, cells, kind="note")
        seconds, skipped, unknown = utc_seconds(spans, clock, self.way.layout.clock.value or "stays")
        self._leave_out("time_does_not_exist", self._marked(logged[skipped]), name, cells)
        self._leave_out("ambiguous_time", self._marked(logged[unknown]), name, cells)
        told = ~skipped & ~unknown
        return seconds[told], logged[told]

    def _marked(self, places: IntegerArray) -> BoolArray:
        mask = np.zeros(len(self.row), dtype=bool)
        mask[places] = True
        return mask

    def _result(self, seconds: FloatArray, temperature: FloatArray, logged: IntegerArray) -> LoggerReadings:
        name = " + ".join(self.way.time_columns)
        late = np.maximum.accumulate(seconds) if len(seconds) else seconds
        self.found.rows("out_of_order", logged[seconds < late], name, kind="note")
        when, mean, _ = accepted_readings(seconds, temperature)
        _, first = np.unique(seconds, return_index=True)
        again = np.ones(len(seconds), dtype=bool)
        again[first] = False
        self.found.rows("duplicate_time", logged[again], name, kind="note")
        if len(when) < FEWEST_READINGS:
            self.found.fault("too_few_readings", readings=len(when), needed=FEWEST_READINGS)
        interval = usual_interval_seconds(when)
        self._series(when, mean, logged[first], interval)
        self._judge()
        findings, counts = self.found.findings(), dict(self.found.counts)
        row = self.row[logged[first]]
        return LoggerReadings(when, mean, row, interval, len(self.row), findings, counts)

    def _series(self, when: FloatArray, mean: FloatArray, places: IntegerArray, interval: float) -> None:
        step, rise = np.diff(when), np.diff(mean)
        marked = marked_gaps(when, interval)
        for place in np.flatnonzero(gaps(when, interval)):
            self.found.at(
                "gap",
                int(places[place + 1]),
                hours=float(step[place]) / SECONDS_PER_HOUR,
                marked=int(marked[place]),
            )
        per_minute = np.abs(rise) / np.maximum(step, 1e-9) * 60.0
        steep = (np.abs(rise) > constants.LOGGER_STEEP_CHANGE_C.value) & (
            per_minute > constants.LOGGER_STEEP_C_PER_MINUTE.value
        )
        for place in np.flatnonzero(steep):
            self.found.at(
                "too_steep",
                int(places[place + 1]),
                column=self.way.temperature_column,
                change_c=float(rise[place]),
                minutes=float(step[place]) / 60.0,
            )

    def _judge(self) -> None:
        share = constants.LOGGER_UNREADABLE_SHARE.value * len(self.row)
        allowed = max(constants.LOGGER_UNREADABLE_ROWS.value, share)
        self.found.judge("fault" if self.left_out.sum() > allowed else "note")


def _blank(cells: Sequence[str]) -> BoolArray:
    return np.array([not cell for cell in cells], dtype=bool)


def _overfull(cells: Sequence[str] | None, width: int) -> bool:
    return cells is not None and len(cells) > width and any(cells[width:])
