"""The picture of a plan: what happens at both ends and on the way, day by day on one axis."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from exchange.matching import posting
from exchange.matching.effect import effect_table
from exchange.matching.plan import PairPlan
from exchange.matching.side import CrossWanted, Lane, PollenOffer
from exchange.science.arrays import BoolArray, FloatArray
from exchange.science.bloom_scenario import daily_rate
from exchange.science.transit import arrival_quantile_days

DAYS_BEFORE_POSTING = 30
DAYS_AFTER_POSTING = 60
"""How much of a season is shown round the posting day (judgement)."""


@dataclass(frozen=True)
class Timeline:
    """Day by day from ``first_day``, all arrays (days,).

    Attributes
    ----------
    posted_on : date
        The posting day that arrival and effect are shown for.
    pollen_chance : FloatArray
        Chance, 0–1, of a donor's flower that sheds pollen on the day; 1 for pollen in hand.
    posting_open : BoolArray
        Whether the donor's post is open.
    arrival_chance : FloatArray
        Chance that the parcel is delivered on the day; they sum to 1 less the chance of loss.
    first_day_flower_chance : FloatArray
        Chance, 0–1, of a flower of the seed parent that can be pollinated.
    remaining_effect : FloatArray
        Mean live effect of the pollen, 0–1, if delivered on the median day; NaN before.
    """

    first_day: date
    posted_on: date
    pollen_chance: FloatArray
    posting_open: BoolArray
    arrival_chance: FloatArray
    first_day_flower_chance: FloatArray
    remaining_effect: FloatArray


def timeline(
    offer: PollenOffer,
    wanted: CrossWanted,
    lane: Lane,
    today: date,
    flowers: posting.RecipientFlowers,
    plan: PairPlan,
) -> Timeline:
    """Lay a plan out day by day round its posting day.

    Parameters
    ----------
    plan : PairPlan
        Of the same offer, wanted cross, lane, day and flowers.

    Returns
    -------
    Timeline
        At most 91 days, none before ``today``.
    """
    posted_on = plan.dates.post_on if plan.dates else plan.likeliest_posting
    posted = (posted_on - today).days
    first = max(0, posted - DAYS_BEFORE_POSTING)
    count = posted + DAYS_AFTER_POSTING + 1 - first
    course = posting.course(offer, wanted, lane, today, flowers)
    first_day = today + timedelta(days=first)
    opened = [lane.origin.is_open(first_day + timedelta(days=day)) for day in range(count)]
    return Timeline(
        first_day=first_day,
        posted_on=posted_on,
        pollen_chance=_pollen_chance(offer, first_day, count),
        posting_open=np.array(opened, dtype=np.bool_),
        arrival_chance=_arrival_chance(lane, course, posted, first, count),
        first_day_flower_chance=_flower_chance(flowers.rate, first, count),
        remaining_effect=_remaining_effect(offer, lane, course, posted, first, count),
    )


def _pollen_chance(offer: PollenOffer, first_day: date, count: int) -> FloatArray:
    """Chances are means over scenarios: one mean rate put into 1 − exp(−rate) would overstate them."""
    if offer.lot is not None or offer.bloom is None:
        return np.ones(count)
    first_lag, last_lag = offer.parent.pollen_first_day - 1, offer.parent.pollen_last_day - 1
    start = first_day - timedelta(days=last_lag)
    rate = daily_rate(offer.bloom.scenarios, start, count + last_lag - first_lag)
    shedding = np.lib.stride_tricks.sliding_window_view(rate, count, axis=1).sum(axis=1)
    return np.asarray(-np.expm1(-shedding).mean(axis=0), dtype=np.float64)


def _flower_chance(rate: FloatArray, first: int, count: int) -> FloatArray:
    chance = np.zeros(count)
    shown = -np.expm1(-rate[:, first : first + count]).mean(axis=0)
    chance[: shown.size] = shown
    return chance


def _arrival_chance(lane: Lane, course: posting.Course, posted: int, first: int, count: int) -> FloatArray:
    day = course.way.delivery_day[posted] - first
    inside = day < count
    chance = np.bincount(day[inside], weights=lane.transit.day_probability[inside], minlength=count)
    return np.asarray(chance, dtype=np.float64)


def _remaining_effect(
    offer: PollenOffer, lane: Lane, course: posting.Course, posted: int, first: int, count: int
) -> FloatArray:
    step = arrival_quantile_days(lane.transit, 0.5) - 1
    parcel, usable = course.way.parcel_days[posted, step], int(course.way.usable_day[posted, step])
    shown = first + count - usable
    effect = np.full(count, np.nan)
    if shown <= 0:
        return effect
    cool = int(posting.cool_days(offer, course, 0)[posted])
    table = effect_table(
        offer.treatment,
        lane.packing,
        float(course.way.heat_class_c[posted]),
        np.array([parcel]),
        cool + shown,
        frozen_days=posting.frozen_days(offer, posted),
    )
    effect[count - shown :] = table.mean[parcel, cool : cool + shown]
    return effect
