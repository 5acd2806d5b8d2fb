"""What a packet posted on a day is worth: transit, live effect and the recipient's flowers together."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from exchange.matching.side import Lane
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray
from exchange.science.business_day import delivery_days
from exchange.science.parcel import heat_class_c
from exchange.science.transit import MAX_BUSINESS_DAYS


@dataclass(frozen=True)
class Journey:
    """How far parcels get that are posted on each day, for each number of business days.

    Days in the parcel, day of delivery and first day the pollen can be used, arrays (days, 15); heat class
    of the route, array (days,); days that pollen waits out of the parcel before its first use.
    """

    first: date
    parcel_days: IntegerArray
    delivery_day: IntegerArray
    usable_day: IntegerArray
    heat_class_c: FloatArray
    waiting_days: int

    @cached_property
    def longest_parcel_days(self) -> int:
        """Most days that a parcel of this journey is under way."""
        return int(self.parcel_days.max())


def journey(lane: Lane, first: date, days: int, *, night_opening: bool) -> Journey:
    """Where a parcel posted on each of ``days`` days from ``first`` has got to.

    Pollen that is delivered after the seed parent has opened is used on the next day's flowers; a
    night-opening parent still opens on the evening of the day of delivery. What a grower in between needs
    is spent in a refrigerator, not in the parcel.
    """
    delivered = delivery_days(
        lane.origin,
        lane.destination,
        first,
        days,
        MAX_BUSINESS_DAYS,
        customs_delay_days=lane.customs_delay_days,
    )
    in_parcel = delivered - np.arange(days)[:, None] - lane.handling_days
    waiting = 0 if night_opening or lane.delivery_before_opening else 1
    classes = np.array([heat_class_c(float(ambient)) for ambient in lane.ambient_c])
    months = [date.fromordinal(first.toordinal() + day).month - 1 for day in range(days)]
    resting = waiting + lane.handling_days
    return Journey(first, in_parcel, delivered, delivered + waiting, classes[months], resting)


def posted_value(
    way: Journey,
    day_probability: FloatArray,
    weights: FloatArray,
    effect: Mapping[int, FloatArray],
    cool_days: IntegerArray,
    wanted_days: BoolArray,
) -> FloatArray:
    """Chance that the pollen of a packet posted on each day would set seed on a parent that always takes.

    Parameters
    ----------
    day_probability : array (15,)
        Chance of delivery on each business day; what is missing to 1 is lost and worth nothing.
    weights : array (days, days)
        First-use weights of the recipient.
    effect : mapping of arrays
        For each posting day wanted, the live effect (parcel days + 1, days at 4 °C + 1).
    cool_days : array (days,)
        Days at 4 °C of the pollen besides the parcel, when it can first be used.
    wanted_days : bool array (days,)
        Posting days to reckon; the others are worth 0.

    Returns
    -------
    array (days,)
    """
    value = np.zeros(way.heat_class_c.size)
    for day in np.flatnonzero(wanted_days).tolist():
        table = effect[day]
        usable = way.usable_day[day]
        inside = usable < weights.shape[0]
        start = int(cool_days[day])
        left = table[way.parcel_days[day, inside], start : start + weights.shape[1]]
        used = weights[usable[inside], : left.shape[1]]
        value[day] = day_probability[inside] @ np.einsum("kj,kj->k", used, left)
    return value
