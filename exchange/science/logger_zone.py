"""Clock times of a zone as UTC: what was skipped, what came twice."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

import numpy as np

from exchange.science.arrays import BoolArray, FloatArray, IntegerArray
from exchange.science.logger_stamp import SECONDS_PER_DAY, offset_seconds

IN_CELLS = "cells"
FIXED = re.compile(r"([+−-])([0-9]{1,2}):?([0-9]{2})?")


@dataclass(frozen=True)
class ZoneSpans:
    """Spans of one offset each, in order.

    Parameters
    ----------
    local_start, local_end, offset : FloatArray
        Shape (spans,), seconds: clock at the first and after the last instant of each span, and its offset.
    """

    local_start: FloatArray
    local_end: FloatArray
    offset: FloatArray

    @property
    def changes(self) -> FloatArray:
        """Clock times at which the offset changes, as read just before."""
        return self.local_end[:-1]


@cache
def _zone_names() -> frozenset[str]:
    return frozenset(available_timezones())


def fixed_offset_seconds(zone: str) -> float | None:
    """Seconds east of UTC of ``UTC`` or ``+02:00``; None for a named zone."""
    if zone in ("UTC", "GMT", "Z"):
        return 0.0
    match = FIXED.fullmatch(zone)
    return None if match is None else offset_seconds(*match.groups())


def zone_is_known(zone: str) -> bool:
    """Whether this is ``UTC``, an offset such as ``+02:00``, or an IANA name such as ``Europe/Berlin``."""
    return fixed_offset_seconds(zone) is not None or zone in _zone_names()


def zone_spans(zone: str, first_local: float, last_local: float) -> ZoneSpans:
    """Give the spans of one offset that cover these clock times.

    Parameters
    ----------
    zone : str
        As in ``zone_is_known``.
    first_local, last_local : float
        Clock times, seconds since 1970-01-01.

    Returns
    -------
    ZoneSpans
        One span for a fixed offset; two changes within one day would be missed.
    """
    start, end = first_local - 2 * SECONDS_PER_DAY, last_local + 2 * SECONDS_PER_DAY
    fixed = fixed_offset_seconds(zone)
    if fixed is not None:
        return ZoneSpans(np.array([start]), np.array([end]), np.array([fixed]))
    return _spans(ZoneInfo(zone), int(start), int(end))


def _offset_at(zone: ZoneInfo, instant: int) -> float:
    offset = datetime.fromtimestamp(instant, UTC).astimezone(zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()


def _spans(zone: ZoneInfo, start: int, end: int) -> ZoneSpans:
    days = [*range(start, end, SECONDS_PER_DAY), end]
    offsets = [_offset_at(zone, day) for day in days]
    changed = [place for place in range(len(days) - 1) if offsets[place] != offsets[place + 1]]
    borders = [_change(zone, days[place], days[place + 1]) for place in changed]
    offset = np.array([offsets[0], *(offsets[place + 1] for place in changed)])
    edges = np.array([start, *borders, end], dtype=np.float64)
    return ZoneSpans(edges[:-1] + offset, edges[1:] + offset, offset)


def _change(zone: ZoneInfo, before: int, after: int) -> int:
    was = _offset_at(zone, before)
    while after - before > 1:
        middle = (before + after) // 2
        if _offset_at(zone, middle) == was:
            before = middle
        else:
            after = middle
    return after


def placed(spans: ZoneSpans, local: FloatArray) -> tuple[IntegerArray, BoolArray, BoolArray]:
    """Find the span of each clock time.

    Parameters
    ----------
    spans : ZoneSpans
        Covering all of ``local``.
    local : FloatArray
        Shape (k,), clock times in seconds.

    Returns
    -------
    tuple
        Shape (k,) each: index of the (first) span; whether the clock skipped this time; whether it
        showed it twice, the second time in the span after.
    """
    last = len(spans.offset) - 1
    place = np.minimum(np.searchsorted(spans.local_end, local, side="right"), last)
    skipped = local < spans.local_start[place]
    twice = ~skipped & (place < last) & (spans.local_start[np.minimum(place + 1, last)] <= local)
    return place, skipped, twice


def second_time_round(
    place: IntegerArray, twice: BoolArray, local: FloatArray
) -> tuple[BoolArray, BoolArray]:
    """Tell apart the two passes of a clock put back, by the one step back between them.

    Parameters
    ----------
    place, twice : arrays
        As from ``placed``, in order of logging.
    local : FloatArray
        Shape (k,), clock times in seconds, in order of logging.

    Returns
    -------
    tuple of BoolArray
        Shape (k,) each: second pass; not to be told.
    """
    second, unknown = np.zeros(len(local), dtype=bool), np.zeros(len(local), dtype=bool)
    for span in np.unique(place[twice]):
        those = np.flatnonzero(twice & (place == span))
        back = np.flatnonzero(np.diff(local[those]) <= 0.0)
        if len(back) == 1:
            second[those[back[0] + 1 :]] = True
        else:
            unknown[those] = True
    return second, unknown


def offset_at(zone: str, local: float) -> float:
    """Seconds east of UTC of a zone at a clock time, the first pass where it came twice."""
    spans = zone_spans(zone, local, local)
    place, _, _ = placed(spans, np.array([local]))
    return float(spans.offset[place[0]])
