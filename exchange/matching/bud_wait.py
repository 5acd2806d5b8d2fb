"""What a lot gives that waits in the donor's refrigerator until the recipient reports a bud."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from exchange.matching import posting
from exchange.matching.bud_report import LONGEST_LAG_DAYS
from exchange.matching.chance import Estimate, Uses, uses_in
from exchange.matching.pair_draws import PairDraws
from exchange.matching.side import Bloom, Lane, PollenOffer
from exchange.science.arrays import FloatArray, IntegerArray


@dataclass(frozen=True)
class BudWait:
    """A lot that is posted on the next open day after the first bud reported, or stays where it is.

    ``each_posted`` is the chance that a dose that is posted ends in a capsule, ``each_promised`` that of a
    dose set aside, posted or not. ``better`` says that a dose posted at the bud gives more than one that is
    posted by the forecast.
    """

    posted_chance: float
    each_posted: Estimate
    each_promised: float
    better: bool


@dataclass(frozen=True)
class Called:
    """Packets posted at the bud: how likely one is, its worth to a parent that always takes, its uses."""

    posted_chance: float
    value: float
    uses: Uses


def bud_wait(
    offer: PollenOffer,
    bloom: Bloom,
    lane: Lane,
    course: posting.Course,
    by_draw: PairDraws,
    by_forecast: Estimate,
) -> BudWait | None:
    """What a dose gives at the bud; None where there is nothing to wait for, or no bud will be reported.

    ``by_forecast`` is the chance of a dose that is posted on the best day of the forecast.
    """
    if not may_wait(offer, bloom, lane):
        return None
    found = called(offer, lane, course)
    if found.value <= 0.0:
        return None
    each = by_draw.estimate(found.value, found.uses, found.posted_chance)
    return BudWait(
        posted_chance=found.posted_chance,
        each_posted=each,
        each_promised=each.estimate * found.posted_chance,
        better=bool(each.estimate > by_forecast.estimate),
    )


def may_wait(offer: PollenOffer, bloom: Bloom, lane: Lane) -> bool:
    """Whether there is something to wait for: a lot that keeps, no bud seen yet, days of posting unbound."""
    chilled = offer.lot is not None and offer.lot.store == "refrigerator"
    bound = lane.handling_days > 0 or lane.post_from is not None or lane.post_until is not None
    return chilled and not bound and bloom.basis not in ("flower seen", "bud seen")


def called(offer: PollenOffer, lane: Lane, course: posting.Course) -> Called:
    """Follow a lot in a refrigerator through every scenario until the bud, and on to its flower.

    Raises
    ------
    ValueError
        If the offer has no lot.
    """
    if offer.lot is None:
        raise ValueError(f"{offer.key} has no lot; allowed: pollen in hand.")
    classes, heat = np.unique(course.way.heat_class_c, return_inverse=True)
    longest, days = course.way.longest_parcel_days, course.flowers.rate.shape[1]
    gathered = np.zeros((classes.size, longest + 1, offer.lot.stored_days + days))
    for (heat_class, parcel_days), chance in _used(course, lane, heat):
        # A packet ages from day to day, in the parcel or at 4 °C: by its flower the two add up to the day.
        at_4_c = offer.lot.stored_days + np.arange(days) - parcel_days
        held = at_4_c >= 0
        gathered[heat_class, parcel_days, at_4_c[held]] = chance[held]
    effect = {heat[day]: table for day, table in posting.mean_effects(offer, lane, course).items()}
    value = sum(_worth(gathered[number], table) for number, table in effect.items())
    posted_chance = float(course.flowers.first_reports.sum()) / course.flowers.rate.shape[0]
    return Called(posted_chance, value, uses_in(classes, gathered))


def _used(
    course: posting.Course, lane: Lane, heat: IntegerArray
) -> Iterator[tuple[tuple[int, int], FloatArray]]:
    """Chance that packets meet their first flower on each day, array (days,).

    For each kind of packets, as (heat class, days in the parcel).
    """
    kinds, waiting = _packets(course, lane, heat)
    opens = -np.expm1(-course.flowers.rate)
    used, here = np.zeros((len(kinds), opens.shape[1])), np.zeros((len(kinds), opens.shape[0]))
    for day in range(used.shape[1]):
        here += waiting[:, day]
        used[:, day] = here @ opens[:, day] / opens.shape[0]
        here *= 1.0 - opens[:, day]
    # Shares are signed: what cancels out may leave a rounding below 0.
    return zip(kinds, np.maximum(used, 0.0), strict=True)


def _packets(
    course: posting.Course, lane: Lane, heat: IntegerArray
) -> tuple[list[tuple[int, int]], FloatArray]:
    """Kinds of packets, and the shares that can meet a flower from each day on, signed as the reports are.

    Array (kinds, days, scenarios).
    """
    way, reports = course.way, course.flowers.first_reports
    posted = _posted(course, reports)
    steps = np.flatnonzero(lane.transit.day_probability)
    every = np.array([(heat[post], parcel) for _, post in posted for parcel in way.parcel_days[post, steps]])
    kinds, kind = np.unique(every.reshape(-1, 2), axis=0, return_inverse=True)
    waiting = np.zeros((len(kinds), reports.shape[0], reports.shape[2]))
    for (day, post), each in zip(posted, kind.reshape(-1, steps.size), strict=True):
        _arrive(waiting, each, way.usable_day[post, steps], lane.transit.day_probability[steps], reports, day)
    return [(int(heat_class), int(parcel)) for heat_class, parcel in kinds], waiting


def _arrive(
    waiting: FloatArray,
    kind: IntegerArray,
    usable: IntegerArray,
    chance: FloatArray,
    reports: FloatArray,
    day: int,
) -> None:
    """Add the packets called on a day: what is usable only after a flower has to wait for the next one."""
    inside = usable < waiting.shape[1]
    kind, usable, chance = kind[inside], usable[inside], chance[inside]
    reached = np.minimum(usable - day - 1, LONGEST_LAG_DAYS)
    known = np.cumsum(reports[day], axis=0)
    np.add.at(waiting, (kind, usable), chance[:, None] * known[reached])
    for step in np.flatnonzero(reached < LONGEST_LAG_DAYS):
        later = waiting[kind[step], usable[step] + 1 : day + 2 + LONGEST_LAG_DAYS]
        later += chance[step] * reports[day, reached[step] + 1 :][: later.shape[0]]


def _posted(course: posting.Course, reports: FloatArray) -> list[tuple[int, int]]:
    """Days of a report and the next open day after each."""
    opened = np.flatnonzero(course.days.is_open)
    reported = np.flatnonzero(reports.any(axis=(1, 2)))
    after: IntegerArray = np.searchsorted(opened, reported, side="right")
    return [(int(day), int(opened[on])) for day, on in zip(reported, after, strict=True) if on < opened.size]


def _worth(chance: FloatArray, effect: FloatArray) -> float:
    """Worth of uses of one heat class by the mean live effect; its table is no shorter than they need."""
    rows, columns = np.nonzero(chance)
    return float(chance[rows, columns] @ effect[rows, columns])
