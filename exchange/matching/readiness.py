"""When a donor on request has pollen ready to post, and how long that pollen has rested.

A flower that opened on day o sheds from o + first pollen day − 1 to o + last pollen day − 1. Pollen
collected on day c is ready on c + handling days. On a posting day s the donor packs the freshest
pollen collected since the last open day; older pollen was already refused once.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from exchange.matching.side import Lane, PollenOffer
from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray


@dataclass(frozen=True)
class DonorClock:
    """Days between a flower's opening and the earliest posting of its pollen, and how long it sheds.

    ``lag_days`` run from opening to ready; ``handling_days`` of them lie after collection;
    ``rest_days`` of those are spent at 4 °C, the others drying.
    """

    lag_days: int
    shedding_days: int
    handling_days: int
    rest_days: int


def donor_clock(offer: PollenOffer, lane: Lane) -> DonorClock:
    """The clock of an offer on request.

    A night flower's pollen goes from the date after its collection; a day flower's on the same date
    only if shedding and handling end before the cut-off. Drying comes on top. The lag is at least one
    day: what opens on the posting day itself is seen too late to count on; pollen that was ready by then
    rests until the day after, and is left where the flower still sheds.
    """
    parent = offer.parent
    rest = 1 if parent.diel == "night" or not lane.collected_before_cut_off else 0
    drying = int(np.ceil(constants.DRYING_HOURS.value / 24.0)) if offer.treatment != "fresh" else 0
    first_lag = parent.pollen_first_day - 1 + rest + drying
    last_lag = parent.pollen_last_day - 1 + rest + drying
    return DonorClock(
        lag_days=max(first_lag, 1),
        shedding_days=max(last_lag - max(first_lag, 1) + 1, 1),
        handling_days=rest + drying,
        rest_days=rest + max(1 - last_lag, 0),
    )


@dataclass(frozen=True)
class PostingDays:
    """Which days ahead are open, and days since the open day before each."""

    is_open: BoolArray
    gap_days: IntegerArray

    @property
    def longest_gap(self) -> int:
        """Most days between two open days, 1 where every day is open."""
        return int(self.gap_days[self.is_open].max()) if self.is_open.any() else 1


def posting_days(lane: Lane, first: date, days: int) -> PostingDays:
    """Open days of the origin's service for ``days`` days from ``first``, within those of the lane."""
    lead = constants.LONGEST_CLOSED_RUN_DAYS.value
    index = np.arange(-int(lead), days)
    opened = np.array([lane.origin.is_open(first + timedelta(days=int(day))) for day in index])
    last_open = np.maximum.accumulate(np.where(opened, index, index[0]))
    gap = (index[1:] - last_open[:-1])[int(lead) - 1 :]
    return PostingDays(opened[int(lead) :] & _within(lane, first, days), gap.astype(np.int64))


def _within(lane: Lane, first: date, days: int) -> BoolArray:
    """Which of the days the lane leaves open to anybody who posts; pollen gets ready on the others too."""
    start = 0 if lane.post_from is None else (lane.post_from - first).days
    end = days if lane.post_until is None else (lane.post_until - first).days
    index = np.arange(days)
    return (start <= index) & (index <= end)


def ready_chance(
    opening_rate: FloatArray, lead_days: int, clock: DonorClock, days: PostingDays
) -> FloatArray:
    """Chance that pollen of some rest is ready on each day, for each rest in days at 4 °C.

    Parameters
    ----------
    opening_rate : array (scenarios, lead_days + days)
        Expected new flowers of each day, beginning ``lead_days`` before the first posting day.
    lead_days : int
        Days of ``opening_rate`` before the first posting day.

    Returns
    -------
    array (days, longest gap)
        Column g is the chance that the freshest pollen ready has rested g days; rows of closed days
        are zero. A row's sum is the chance that any pollen is ready.
    """
    opened = np.concatenate([np.zeros((opening_rate.shape[0], 1)), np.cumsum(opening_rate, axis=1)], axis=1)
    chance = np.zeros((days.is_open.size, days.longest_gap))
    for rest in range(days.longest_gap):
        on = np.flatnonzero(days.is_open & (rest < days.gap_days))
        newest = lead_days + on - clock.lag_days + 1
        start = newest - clock.shedding_days - rest
        end = newest if rest == 0 else start + 1
        none_newer = opened[:, newest] - opened[:, end]
        some = opened[:, end] - opened[:, start]
        chance[on, rest] = (np.exp(-none_newer) * -np.expm1(-some)).mean(axis=0)
    return chance


def near_chance(opening_rate: FloatArray, lead_days: int, clock: DonorClock, days: PostingDays) -> FloatArray:
    """Chance that pollen is ready on at least one open day within three days of each day, array (days,).

    The openings that give pollen for neighbouring open days follow each other without a gap, so one
    span of days decides.
    """
    reach = int(constants.NEAR_POSTING_DAYS.value)
    opened = np.concatenate([np.zeros((opening_rate.shape[0], 1)), np.cumsum(opening_rate, axis=1)], axis=1)
    chance = np.zeros(days.is_open.size)
    for day in range(days.is_open.size):
        near = np.arange(max(0, day - reach), min(days.is_open.size, day + reach + 1))
        open_days = near[days.is_open[near]]
        if open_days.size == 0:
            continue
        newest = lead_days + int(open_days[-1]) - clock.lag_days + 1
        oldest = lead_days + int(open_days[0] - days.gap_days[open_days[0]]) - clock.lag_days + 1
        start = max(0, oldest - clock.shedding_days + 1)
        chance[day] = -np.expm1(opened[:, start] - opened[:, newest]).mean()
    return chance
