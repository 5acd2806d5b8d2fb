"""How a logger's file is laid out: what it says itself, what the grower stated, what must be asked."""

from collections.abc import Sequence
from typing import cast, get_args

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.logger_choice import (
    Choice,
    Clock,
    LoggerChoices,
    LoggerLayout,
    LoggerQuestion,
)
from exchange.science.logger_clock import find_clock
from exchange.science.logger_column import (
    is_other_quantity,
    says_temperature,
    temperature_candidates,
    time_candidates,
)
from exchange.science.logger_date_order import find_date_order
from exchange.science.logger_number import (
    DecimalMark,
    Unit,
    decimal_marks,
    fahrenheit_suspected,
    heading_unit,
    numbers_of,
)
from exchange.science.logger_open import Open
from exchange.science.logger_stamp import DateOrder, Stamps, local_seconds, stamps_of
from exchange.science.logger_statement import stated_units, stated_zones, zone_of_heading
from exchange.science.logger_table import (
    DELIMITERS,
    CellKind,
    Delimiter,
    LoggerTable,
    cell_at,
    column_kinds,
    find_table,
    joined_cells,
    table_rows,
)
from exchange.science.logger_text import LoggerFileError, LoggerText
from exchange.science.logger_zone import IN_CELLS, offset_at, zone_is_known

ROWS_SEEN = 200
NO_CHOICES = LoggerChoices()
CHOICE_WORDS = {
    "delimiter": DELIMITERS,
    "decimal_mark": get_args(DecimalMark),
    "unit": get_args(Unit),
    "date_order": get_args(DateOrder),
    "clock": get_args(Clock),
}


def logger_layout(text: LoggerText, choices: LoggerChoices = NO_CHOICES) -> LoggerLayout:
    """Detect how a file is laid out; what it leaves open becomes a question, never a guess.

    Parameters
    ----------
    text : LoggerText
        The file.
    choices : LoggerChoices
        What the grower states; it wins where the file is silent and is a contradiction where it is not.

    Returns
    -------
    LoggerLayout
        Complete, or with questions or contradictions.

    Raises
    ------
    LoggerFileError
        ``no_table`` if no line holds a time and a number.
    ValueError
        If a choice is none of the allowed words.
    """
    _check_choices(choices)
    return _Detection(text, choices).layout()


def _check_choices(choices: LoggerChoices) -> None:
    for name, allowed in CHOICE_WORDS.items():
        value = getattr(choices, name)
        if value is not None and value not in allowed:
            raise ValueError(f"{name} is {value!r}; allowed: {', '.join(map(repr, allowed))}.")


class _Detection:
    """One file and what was stated of it; ``open`` gathers questions and contradictions on the way."""

    def __init__(self, text: LoggerText, choices: LoggerChoices) -> None:
        self.text, self.choices, self.open = text, choices, Open()
        self.table, self.delimiter = self._table()
        numbered = [(row, cells) for row, cells in table_rows(text, self.table) if cells]
        self.rows = [row for row, _ in numbered]
        self.cells = [cells for _, cells in numbered]
        self.kinds = column_kinds(self.cells[:ROWS_SEEN], len(self.table.columns))

    def layout(self) -> LoggerLayout:
        time_columns, temperature = self._time_columns(), self._temperature_column()
        temperatures = self._cells_of(temperature.value)
        stamps = self._stamps(time_columns.value)
        order = self._date_order(stamps)
        local = None if stamps is None or order.value is None else local_seconds(stamps, order.value)
        zone = self._zone(stamps, local, time_columns.value)
        clock = find_clock(self.open, self.choices.clock, zone.value, local, self.rows)
        return LoggerLayout(
            encoding=self.text.encoding,
            table=self.table,
            delimiter=self.delimiter,
            decimal_mark=self._decimal_mark(temperatures),
            time_columns=time_columns,
            temperature_column=temperature,
            unit=self._unit(temperature.value, temperatures),
            date_order=order,
            zone=zone,
            clock=clock,
            questions=tuple(self.open.questions),
            contradictions=tuple(self.open.contradictions),
        )

    def _table(self) -> tuple[LoggerTable, Choice[Delimiter]]:
        stated = self.choices.delimiter
        if stated is not None:
            try:
                return find_table(self.text, stated), Choice(stated, "stated")
            except LoggerFileError:
                pass
        table = find_table(self.text)
        found = Choice[Delimiter](table.delimiter, "detected", "most_readings", table.first_row)
        if stated is not None:
            self.open.contradict("delimiter", stated, found)
        return table, found

    def _place(self, column: str) -> int:
        return self.table.columns.index(column)

    def _cells_of(self, column: str | None) -> list[str]:
        if column is None:
            return []
        place = self._place(column)
        return [cell_at(cells, place) for cells in self.cells]

    def _kind(self, column: str) -> CellKind:
        return self.kinds[self._place(column)]

    def _known(self, name: str, columns: Sequence[str]) -> bool:
        strange = [column for column in columns if column not in self.table.columns]
        for column in strange:
            self.open.refuse(f"{name}_unknown", column=column, row=self.table.heading_row)
        return not strange

    def _time_columns(self) -> Choice[tuple[str, ...]]:
        stated = self.choices.time_columns
        if stated is not None:
            return self._stated_time_columns(stated)
        found = time_candidates(self.table.columns, self.kinds)
        if len(found) == 1:
            names = tuple(self.table.columns[place] for place in found[0])
            return Choice(names, "detected", "cells", self.table.first_row)
        places = sorted({place for each in found for place in each} or range(len(self.kinds)))
        allowed = tuple(self.table.columns[place] for place in places)
        code = "several_time_columns" if found else "no_time_column"
        return self.open.ask(LoggerQuestion("time_columns", code, allowed, row=self.table.heading_row))

    def _stated_time_columns(self, stated: tuple[str, ...]) -> Choice[tuple[str, ...]]:
        if not self._known("time_columns", stated):
            return Choice(None, "stated")
        kinds = [self._kind(column) for column in stated]
        if kinds in (["stamp"], ["epoch"], ["date", "time"]):
            return Choice(stated, "stated")
        column = stated[0] if stated else ""
        self.open.refuse("time_columns_contradicted", column=column, row=self.table.heading_row)
        return Choice(None, "stated")

    def _temperature_column(self) -> Choice[str]:
        stated = self.choices.temperature_column
        if stated is not None:
            return self._stated_temperature_column(stated)
        taken = {place for each in time_candidates(self.table.columns, self.kinds) for place in each}
        found = temperature_candidates(self.table.columns, self.kinds, self.cells[:ROWS_SEEN])
        names = [self.table.columns[place] for place in found if place not in taken]
        if len(names) == 1:
            evidence = "heading" if says_temperature(names[0]) else "only_numbers"
            return Choice(names[0], "detected", evidence, self.table.heading_row)
        code = "several_temperature_columns" if names else "no_temperature_column"
        question = LoggerQuestion("temperature_column", code, tuple(names), row=self.table.heading_row)
        return self.open.ask(question)

    def _stated_temperature_column(self, stated: str) -> Choice[str]:
        if not self._known("temperature_column", [stated]):
            return Choice(None, "stated")
        if is_other_quantity(stated) or self._kind(stated) != "number":
            self.open.refuse("temperature_column_contradicted", column=stated, row=self.table.heading_row)
            return Choice(None, "stated")
        return Choice(stated, "stated")

    def _decimal_mark(self, cells: list[str]) -> Choice[DecimalMark]:
        marks = decimal_marks(cells)
        if len(marks) > 1:
            if self.choices.decimal_mark:
                return Choice(self.choices.decimal_mark, "stated")
            return self.open.ask(LoggerQuestion("decimal_mark", "both_decimal_marks", (".", ",")))
        if not marks:
            return Choice(self.choices.decimal_mark or ".", "detected", "whole_numbers")
        mark = cast(DecimalMark, marks.pop())
        row = next(row for row, cell in zip(self.rows, cells, strict=True) if mark in decimal_marks([cell]))
        return self.open.settle(
            "decimal_mark", self.choices.decimal_mark, Choice(mark, "detected", "cells", row)
        )

    def _unit(self, column: str | None, cells: list[str]) -> Choice[Unit]:
        if column is None:
            return Choice(None, "asked")
        numbers = numbers_of(cells, None)
        found = self._units_found(column, numbers.unit.tolist())
        suspected = fahrenheit_suspected(numbers.value)
        if len({each.value for each in found}) > 1:
            return self._unit_asked("units_differ", found[1].row, "")
        if not found:
            return self._unit_asked("unit_open", None, "F" if suspected else "")
        if suspected and found[0].value == "C" and self.choices.unit != "K":
            return self._unit_asked("fahrenheit_suspected", found[0].row, "F")
        return self.open.settle("unit", self.choices.unit, found[0])

    def _units_found(self, column: str, of_cells: list[str]) -> list[Choice[Unit]]:
        found: list[Choice[Unit]] = []
        unit = heading_unit(column) if self.table.heading_row else None
        if unit is not None:
            found.append(Choice(unit, "detected", "heading", self.table.heading_row))
        for letter in sorted(set(of_cells) - {""}):
            row = self.rows[of_cells.index(letter)]
            found.append(Choice(cast(Unit, letter), "detected", "cells", row))
        stated = stated_units(self._above())
        return found or [Choice(each, "detected", "header_block", row) for each, row in stated]

    def _unit_asked(self, code: str, row: int | None, suggested: str) -> Choice[Unit]:
        if self.choices.unit is not None:
            return Choice(self.choices.unit, "stated")
        return self.open.ask(LoggerQuestion("unit", code, get_args(Unit), suggested, row))

    def _above(self) -> tuple[str, ...]:
        return self.text.lines[: (self.table.heading_row or self.table.first_row) - 1]

    def _stamps(self, columns: tuple[str, ...] | None) -> Stamps | None:
        if columns is None:
            return None
        places = [self._place(column) for column in columns]
        return stamps_of([joined_cells(cells, places) for cells in self.cells])

    def _date_order(self, stamps: Stamps | None) -> Choice[DateOrder]:
        if stamps is None:
            return Choice(None, "asked")
        return find_date_order(self.open, self.choices.date_order, stamps, self.rows)

    def _zone(
        self, stamps: Stamps | None, local: FloatArray | None, columns: tuple[str, ...] | None
    ) -> Choice[str]:
        stated = self.choices.zone
        if stated is not None and not zone_is_known(stated):
            self.open.refuse("zone_unknown", value=stated)
            return Choice(None, "stated")
        if stamps is None or columns is None:
            return Choice(stated, "asked" if stated is None else "stated")
        found = self._zones_found(stamps, columns)
        if len({each.value for each in found}) == 1:
            return self._zone_settled(stated, found[0], stamps, local)
        if stated is not None:
            return Choice(stated, "stated")
        code = "zone_statements_differ" if found else "zone_open"
        row = found[1].row if found else None
        return self.open.ask(LoggerQuestion("zone", code, row=row))

    def _zones_found(self, stamps: Stamps, columns: tuple[str, ...]) -> list[Choice[str]]:
        written = np.flatnonzero(np.isfinite(stamps.offset_seconds))
        if written.size:
            return [Choice(IN_CELLS, "detected", "cells", self.rows[written[0]])]
        found: list[Choice[str]] = []
        for column in columns:
            zone = zone_of_heading(column)
            if zone is not None:
                found.append(Choice(zone, "detected", "heading", self.table.heading_row))
        stated = stated_zones(self._above())
        return found or [Choice(zone, "detected", "header_block", row) for zone, row in stated]

    def _zone_settled(
        self, stated: str | None, found: Choice[str], stamps: Stamps, local: FloatArray | None
    ) -> Choice[str]:
        if stated is None or local is None or found.value is None:
            return found if stated is None else Choice(stated, "stated")
        known = np.flatnonzero(np.isfinite(local))
        for place in known[[0, -1]] if known.size else []:
            if found.value == IN_CELLS:
                written = float(stamps.offset_seconds[place])
            else:
                written = offset_at(found.value, float(local[place]))
            if np.isfinite(written) and written != offset_at(stated, float(local[place])):
                self.open.contradict("zone", stated, found)
                return found
        return found if found.value == IN_CELLS else Choice(stated, "stated")
