"""Whether a logger writes day or month first: told by a field above 12, else asked."""

from collections.abc import Mapping, Sequence

import numpy as np

from exchange.science.logger_choice import Choice, LoggerQuestion
from exchange.science.logger_open import Open
from exchange.science.logger_stamp import DateOrder, Stamps, day_number

OPEN_ORDERS: tuple[DateOrder, ...] = ("day_first", "month_first")


def find_date_order(
    gathered: Open, stated: DateOrder | None, stamps: Stamps, rows: Sequence[int]
) -> Choice[DateOrder]:
    """Find the order of the fields of a date.

    Parameters
    ----------
    gathered : Open
        Takes the question or the contradiction.
    stated : str or None
        What the grower states.
    stamps : Stamps
        The column of times.
    rows : sequence of int
        Line of each cell.

    Returns
    -------
    Choice
        Detected where every date but one order allows; dates that no order allows do not count.
    """
    orders = {fields.order for fields in stamps.dates}
    if "" not in orders:
        own: DateOrder = "epoch_seconds" if orders == {"epoch_seconds"} else "year_first"
        written = Choice[DateOrder](own, "detected", "cells", _row(stamps, rows))
        return gathered.settle("date_order", stated, written)
    possible = _possible(stamps)
    first = stamps.first_places()
    refuted = {order: _refuted_by(stamps, order, possible, first) for order in possible}
    holding = [order for order, place in refuted.items() if place is None]
    if len(holding) == 1:
        others = [place for place in refuted.values() if place is not None]
        found = Choice[DateOrder](holding[0], "detected", "only_order_that_fits", rows[min(others)])
        return gathered.settle("date_order", stated, found)
    if stated is not None and (stated in holding or not holding):
        return Choice(stated, "stated")
    if stated is not None:
        gathered.contradict("date_order", stated, Choice(holding[0], "detected", "cells", _row(stamps, rows)))
        return Choice(None, "stated")
    return gathered.ask(_question(possible, holding, refuted, rows))


def _question(
    possible: Sequence[DateOrder],
    holding: Sequence[DateOrder],
    refuted: dict[DateOrder, int | None],
    rows: Sequence[int],
) -> LoggerQuestion:
    if holding:
        return LoggerQuestion("date_order", "date_order_open", tuple(holding))
    against = {f"not_{order}": rows[place] for order, place in refuted.items() if place is not None}
    return LoggerQuestion(
        "date_order", "dates_of_two_orders", tuple(possible), row=max(against.values()), parameters=against
    )


def _row(stamps: Stamps, rows: Sequence[int]) -> int | None:
    known = np.flatnonzero(stamps.date_of >= 0)
    return rows[known[0]] if known.size else None


def _possible(stamps: Stamps) -> tuple[DateOrder, ...]:
    may_lead = any(fields.year_may_lead for fields in stamps.dates)
    return (*OPEN_ORDERS, "year_first") if may_lead else OPEN_ORDERS


def _refuted_by(
    stamps: Stamps, order: DateOrder, possible: Sequence[DateOrder], first: Mapping[int, int]
) -> int | None:
    """Position of the first cell that is a date, but not in this order."""
    wrong = [
        index
        for index, fields in enumerate(stamps.dates)
        if day_number(fields, order) is None
        and any(day_number(fields, other) is not None for other in possible)
    ]
    return min((first[index] for index in wrong if index in first), default=None)
