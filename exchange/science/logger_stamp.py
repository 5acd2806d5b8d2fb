"""Cells with a date and a time: how they are written, and the seconds they mean."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, NamedTuple

import numpy as np

from exchange.science import constants
from exchange.science.arrays import FloatArray, IntegerArray

DateOrder = Literal["year_first", "day_first", "month_first", "epoch_seconds"]

FIRST_YEAR = int(constants.LOGGER_FIRST_YEAR.value)
LAST_YEAR = int(constants.LOGGER_LAST_YEAR.value)
CENTURY = LAST_YEAR - LAST_YEAR % 100
SECONDS_PER_HOUR = 3600.0
SECONDS_PER_DAY = 86_400
EPOCH_DAY = date(1970, 1, 1).toordinal()
END_SECONDS = (date(LAST_YEAR + 1, 1, 1).toordinal() - EPOCH_DAY) * SECONDS_PER_DAY
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
DATE_TEXT = r"[0-9]{1,4}[-/. ](?:[0-9]{1,2}|[A-Za-z]{3,9})[-/. ][0-9]{1,4}"
DATE = re.compile(r"([0-9]{1,4})([-/. ])([0-9]{1,2}|[A-Za-z]{3,9})\2([0-9]{1,4})")
TIME = re.compile(
    r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]{1,9})?))?"
    r"(?:\s{0,3}([AaPp])\.?[Mm]\.?)?"
    r"(?:\s{0,3}(?:(Z|UTC|GMT)|(?:UTC|GMT)?([+−-])([0-9]{1,2}):?([0-9]{2})?))?"
)
STAMP = re.compile(rf"({DATE_TEXT})(?:T|,?\s{{1,3}})([0-9]{{1,2}}:.+)")
EPOCH = re.compile(r"[0-9]{9,10}(?:\.[0-9]{1,6})?")
UNREADABLE = -1
LARGEST_OFFSET_HOURS = 14


class DateFields(NamedTuple):
    """Three fields of a date as written; ``order`` is empty where the order of day and month is open."""

    first: int
    second: int
    third: int
    order: DateOrder | Literal[""]
    year_may_lead: bool = False


EPOCH_START = DateFields(1970, 1, 1, "epoch_seconds")


@dataclass(frozen=True)
class Stamps:
    """A column of times, each distinct date once.

    Parameters
    ----------
    dates : tuple of DateFields
        Distinct dates.
    date_of : IntegerArray
        Shape (k,), index in ``dates``; −1 where the cell is not a time.
    seconds : FloatArray
        Shape (k,), seconds of that day.
    offset_seconds : FloatArray
        Shape (k,), east of UTC as written in the cell; NaN where it is not.
    """

    dates: tuple[DateFields, ...]
    date_of: IntegerArray
    seconds: FloatArray
    offset_seconds: FloatArray

    def first_places(self) -> dict[int, int]:
        """Position of the first cell with each date, by index in ``dates``."""
        found, first = np.unique(self.date_of, return_index=True)
        return dict(zip(found.tolist(), first.tolist(), strict=True))


def date_fields(text: str) -> DateFields | None:
    """Split a date into its fields; None if it is not one."""
    match = DATE.fullmatch(text)
    if match is None:
        return None
    first, mark, second, third = match.groups()
    if second.isalpha():
        return _named(first, second, third)
    if len(first) == 4:
        return DateFields(int(first), int(second), int(third), "year_first") if len(third) <= 2 else None
    if len(first) > 2 or len(third) not in (2, 4):
        return None
    year_may_lead = mark == "-" and len(first) == len(third) == 2
    return DateFields(int(first), int(second), int(third), "", year_may_lead)


def _named(first: str, name: str, third: str) -> DateFields | None:
    key = name[:3].casefold()
    if key not in MONTHS or not {len(first), len(third)} <= {1, 2, 4}:
        return None
    day, year = (int(third), int(first)) if len(first) == 4 else (int(first), int(third))
    return DateFields(_full_year(year), MONTHS.index(key) + 1, day, "year_first")


def _full_year(year: int) -> int:
    return CENTURY + year if year < 100 else year


def day_number(fields: DateFields, order: DateOrder | None) -> int | None:
    """Days since 1970-01-01 of a date, its own order before the one given; None if there is no such day."""
    first, second, third, own, year_may_lead = fields
    order = own or order
    if order in ("year_first", "epoch_seconds") and (own or year_may_lead):
        year, month, day = first, second, third
    elif order == "day_first":
        year, month, day = third, second, first
    elif order == "month_first":
        year, month, day = third, first, second
    else:
        return None
    try:
        found = date(_full_year(year), month, day)
    except ValueError:
        return None
    return found.toordinal() - EPOCH_DAY if FIRST_YEAR <= found.year <= LAST_YEAR else None


def time_of_day(text: str) -> tuple[float, float] | None:
    """Seconds of the day and offset in seconds (NaN where none is written); None if it is not a time."""
    match = TIME.fullmatch(text)
    if match is None:
        return None
    hour, minute, half = int(match[1]), int(match[2]), (match[4] or "").casefold()
    second = float((match[3] or "0").replace(",", "."))
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 23 or minute > 59 or second >= 60.0:
        return None
    offset = _offset_seconds(match)
    return None if offset is None else (hour * SECONDS_PER_HOUR + minute * 60.0 + second, offset)


def _offset_seconds(match: re.Match[str]) -> float | None:
    if match[5]:
        return 0.0
    if not match[6]:
        return np.nan
    return offset_seconds(match[6], match[7], match[8])


def offset_seconds(sign: str, hours: str, minutes: str | None) -> float | None:
    """Seconds east of UTC of ``+02:00``; None beyond 14 hours."""
    size = int(hours) * SECONDS_PER_HOUR + int(minutes or 0) * 60.0
    if size > LARGEST_OFFSET_HOURS * SECONDS_PER_HOUR or int(minutes or 0) > 59:
        return None
    return size if sign == "+" else -size


def stamps_of(cells: Sequence[str]) -> Stamps:
    """Read a column of cells such as ``01.03.2026 14:05`` or ``1772373900``, whatever their order of date."""
    reader = _StampReader()
    # One row a cell: date, seconds, offset.
    table = np.array([reader.read(cell) for cell in cells], dtype=np.float64).reshape(-1, 3)
    return Stamps(tuple(reader.dates), table[:, 0].astype(np.int64), table[:, 1].copy(), table[:, 2].copy())


StampRow = tuple[float, float, float]
NOT_A_STAMP: StampRow = (float(UNREADABLE), 0.0, np.nan)


class _StampReader:
    """Remembers each date and each time of day: a log repeats them."""

    def __init__(self) -> None:
        self.dates: list[DateFields] = []
        self.index: dict[str, int] = {}
        self.times: dict[str, tuple[float, float] | None] = {}
        self.day_end, self.clock_start, self.between = 0, 0, ""

    def read(self, cell: str) -> StampRow:
        # Most cells are built as the one before, so that no pattern need be matched.
        end, start = self.day_end, self.clock_start
        if end and cell[end:start] == self.between:
            place, time = self.index.get(cell[:end]), self.times.get(cell[start:])
            if place is not None and place >= 0 and time is not None:
                return (place, *time)
        match = STAMP.fullmatch(cell)
        if match is None:
            return self._epoch(cell)
        self.day_end, self.clock_start = match.end(1), match.start(2)
        self.between = cell[self.day_end : self.clock_start]
        return self._stamp(*match.groups())

    def _stamp(self, day: str, clock: str) -> StampRow:
        if day not in self.index:
            fields = date_fields(day)
            self.index[day] = UNREADABLE if fields is None else self._added(fields)
        if clock not in self.times:
            self.times[clock] = time_of_day(clock)
        place, time = self.index[day], self.times[clock]
        return NOT_A_STAMP if time is None or place == UNREADABLE else (place, *time)

    def _epoch(self, cell: str) -> StampRow:
        if EPOCH.fullmatch(cell) is None or float(cell) >= END_SECONDS:
            return NOT_A_STAMP
        if "" not in self.index:
            self.index[""] = self._added(EPOCH_START)
        return self.index[""], float(cell), 0.0

    def _added(self, fields: DateFields) -> int:
        self.dates.append(fields)
        return len(self.dates) - 1


def local_seconds(stamps: Stamps, order: DateOrder | None) -> FloatArray:
    """Seconds since 1970-01-01 00:00 on the clock of the cells, shape (k,); NaN where there is none."""
    days = [day_number(fields, order) for fields in stamps.dates]
    known = np.array([np.nan if day is None else day for day in days] + [np.nan])
    # The last element answers for −1, the cells that are not a time.
    seconds: FloatArray = known[stamps.date_of] * SECONDS_PER_DAY + stamps.seconds
    return seconds
