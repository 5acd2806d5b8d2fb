"""Whether a logger's clock followed summer time: asked wherever it makes a difference."""

from collections.abc import Sequence
from typing import get_args

import numpy as np

from exchange.science.arrays import BoolArray, FloatArray
from exchange.science.logger_choice import Choice, Clock, LoggerQuestion
from exchange.science.logger_open import Open
from exchange.science.logger_stamp import SECONDS_PER_HOUR
from exchange.science.logger_zone import (
    IN_CELLS,
    ZoneSpans,
    fixed_offset_seconds,
    placed,
    second_time_round,
    zone_spans,
)

IRREGULAR = 0.5
NEAR_SECONDS = 86_400.0


def newest_first(seconds: FloatArray) -> bool:
    """Whether most readings are earlier than the one before; NaN is passed over."""
    steps = np.diff(seconds[np.isfinite(seconds)])
    return bool((steps < 0.0).sum() > (steps > 0.0).sum())


def hour_jumps(logged: FloatArray, changes: FloatArray | None) -> BoolArray:
    """Mark steps of the clock that are an hour longer or shorter than usual.

    Parameters
    ----------
    logged : FloatArray
        Shape (k,), clock times in seconds, in order of logging, all finite.
    changes : FloatArray or None
        Clock times at which the zone's offset changes: only steps within a day of one count; None:
        only steps back count, wherever they are.

    Returns
    -------
    BoolArray
        Shape (k,), true at the reading after the step.
    """
    jump = np.zeros(len(logged), dtype=bool)
    steps = np.diff(logged)
    if not (steps > 0.0).any():
        return jump
    usual = float(np.median(steps[steps > 0.0]))
    room = min(usual / 2.0, SECONDS_PER_HOUR / 2.0)
    back = np.abs(steps - usual + SECONDS_PER_HOUR) <= room
    if changes is None:
        jump[1:] = back & (steps < 0.0)
        return jump
    forward = np.abs(steps - usual - SECONDS_PER_HOUR) <= room
    near = np.zeros(len(steps), dtype=bool)
    for change in changes:
        near |= np.abs(logged[1:] - change) <= NEAR_SECONDS
    jump[1:] = (back | forward) & near
    return jump


def utc_seconds(
    spans: ZoneSpans, logged: FloatArray, clock: Clock
) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Turn clock times into UTC.

    Parameters
    ----------
    spans : ZoneSpans
        Covering all of ``logged``.
    logged : FloatArray
        Shape (k,), clock times in seconds, in order of logging, all finite.
    clock : {"follows", "stays"}
        ``stays``: the offset at the first reading holds throughout.

    Returns
    -------
    tuple
        Shape (k,) each: seconds since 1970-01-01 UTC; times that the clock skipped; times that came
        twice and cannot be told apart.
    """
    place, skipped, twice = placed(spans, logged)
    if clock == "stays":
        offset = spans.offset[place[:1]]
        none = np.zeros(len(logged), dtype=bool)
        return (logged - offset if len(logged) else logged), none, none
    second, unknown = second_time_round(place, twice, logged)
    return logged - spans.offset[place + second], skipped, unknown


def find_clock(
    gathered: Open,
    stated: Clock | None,
    zone: str | None,
    local: FloatArray | None,
    rows: Sequence[int],
) -> Choice[Clock]:
    """Find whether it matters how the clock was kept; if it does and is not stated, ask.

    Parameters
    ----------
    gathered : Open
        Takes the question or the contradiction.
    stated : {"follows", "stays"} or None
        What the grower states.
    zone : str or None
        As in ``zone_is_known``, ``cells``, or not known yet.
    local : FloatArray or None
        Shape (k,), clock times in seconds, as in the file; NaN where a cell is no time.
    rows : sequence of int
        Line of each cell.

    Returns
    -------
    Choice
        ``stays`` is detected where the zone has one offset and no step back of an hour is seen.
    """
    if zone is None or local is None or not np.isfinite(local).any():
        return Choice(stated, "asked" if stated is None else "stated")
    if zone == IN_CELLS:
        return Choice("stays", "detected", "offset_in_cells")
    known = np.flatnonzero(np.isfinite(local))
    order = known[::-1] if newest_first(local) else known
    logged = local[order]
    spans = zone_spans(zone, float(logged.min()), float(logged.max()))
    named = fixed_offset_seconds(zone) is None
    jumps = np.flatnonzero(hour_jumps(logged, spans.changes if named else None))
    row = rows[order[jumps[0]]] if jumps.size else None
    if not (_matters(spans, logged) if named else jumps.size):
        return Choice("stays", "detected", "one_offset")
    if stated == "follows" and not named:
        gathered.refuse("clock_contradicted", row=row, value=zone)
    if stated is not None:
        return Choice(stated, "stated")
    code = "jump_of_an_hour" if jumps.size else "summer_time_changes"
    suggested = _suggested(spans, logged) if named else "follows"
    return gathered.ask(LoggerQuestion("clock", code, get_args(Clock), suggested, row))


def _matters(spans: ZoneSpans, logged: FloatArray) -> bool:
    place, skipped, twice = placed(spans, logged)
    return bool(len(np.unique(spans.offset[place])) > 1 or skipped.any() or twice.any())


def _suggested(spans: ZoneSpans, logged: FloatArray) -> str:
    """The clock under which more steps are of the usual length; neither if they are alike."""
    follows = _irregular_steps(spans, logged, "follows")
    stays = _irregular_steps(spans, logged, "stays")
    if follows == stays:
        return ""
    return "follows" if follows < stays else "stays"


def _irregular_steps(spans: ZoneSpans, logged: FloatArray, clock: Clock) -> int:
    seconds, skipped, unknown = utc_seconds(spans, logged, clock)
    left = np.diff(seconds[~skipped & ~unknown])
    usual = float(np.median(left)) if left.size else 0.0
    return int((np.abs(left - usual) > IRREGULAR * abs(usual)).sum() + skipped.sum() + unknown.sum())
