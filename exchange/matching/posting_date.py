"""The best day to post, the last good one, and what decides it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray

SAME_WORTH = 1e-6

Decider = Literal["central", "viability", "recipient_end", "transit"]


@dataclass(frozen=True)
class GoodDays:
    """The unbroken run of good posting days round the best one, as days ahead."""

    best: int
    first: int
    last: int
    reaches_horizon: bool


@dataclass(frozen=True)
class PostingDates:
    """Days ahead: post on ``post_on``, not later than ``not_later_than``, which ``decided_by`` set.

    ``not_later_than`` is None where every case reaches the horizon: no deadline this season, the
    pollen's own life decides. ``send_at_once`` is set where an unfavourable case has no good day.
    """

    post_on: int
    not_later_than: int | None
    decided_by: Decider
    send_at_once: bool
    good: GoodDays


def first_of_best(worth: FloatArray) -> int:
    """The first day of greatest worth but for rounding, which must not tell equal weeks apart."""
    return int(np.argmax(worth >= worth.max() * (1.0 - SAME_WORTH)))


def good_days(value: FloatArray, candidate: BoolArray, is_open: BoolArray) -> GoodDays | None:
    """The run of candidate days round the best one with at least 0.8 of its value; closed days are skipped.

    Parameters
    ----------
    value : array (days,)
        What a packet posted on each day is worth.
    candidate, is_open : bool array (days,)
        Days that may be chosen, and days within the horizon on which the post is open; an open day that
        may not be chosen ends the run, the last open day reaches the horizon.
    """
    worth = np.where(candidate, value, 0.0)
    best = first_of_best(worth)
    if worth[best] <= 0.0:
        return None
    good = candidate & (value >= constants.GOOD_DAY_FRACTION.value * worth[best])
    open_days = np.flatnonzero(is_open)
    position = int(np.searchsorted(open_days, best))
    run = good[open_days]
    start = position - int(np.argmin(np.append(run[position::-1], False))) + 1
    end = position + int(np.argmin(np.append(run[position:], False))) - 1
    return GoodDays(best, int(open_days[start]), int(open_days[end]), end == open_days.size - 1)


def posting_dates(
    cases: dict[Decider, FloatArray], candidate: BoolArray, is_open: BoolArray
) -> PostingDates | None:
    """Combine the central case with the unfavourable ones; None where no day ahead is worth posting.

    Each case is judged against its own best day. The best day is never named later than the last
    good one: where an unfavourable case ends earlier, the best day up to then is taken.
    """
    runs = {name: good_days(value, candidate, is_open) for name, value in cases.items()}
    central = runs["central"]
    if central is None:
        return None
    hopeless = [name for name, run in runs.items() if run is None]
    if hopeless:
        first = int(np.flatnonzero(candidate)[0])
        return PostingDates(first, first, hopeless[0], True, central)
    ends = {name: run.last for name, run in runs.items() if run is not None and not run.reaches_horizon}
    if not ends:
        return PostingDates(central.best, None, "viability", False, central)
    decider = min(ends, key=lambda name: (ends[name], name != "central"))
    last = ends[decider]
    early = candidate & (np.arange(candidate.size) <= last)
    if central.best <= last:
        return PostingDates(central.best, last, decider, False, central)
    worth = np.where(early, cases["central"], 0.0)
    # Where the central case is worth nothing up to then, the last good day of the other is.
    best = first_of_best(worth) if worth.any() else last
    return PostingDates(best, last, decider, False, central)
