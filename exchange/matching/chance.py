"""From the worth of a packet to the chance that is shown: mean, likely range, several flowers."""

from dataclasses import dataclass

import numpy as np

from exchange.matching.arrival import Journey
from exchange.matching.effect import parcel_age_days
from exchange.science import constants
from exchange.science.arrays import FloatArray, IntegerArray
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.packing import Packing
from exchange.science.viability import ViabilityDraws, remaining_fraction
from exchange.science.weighted import weighted_quantile


@dataclass(frozen=True)
class Estimate:
    """A mean over all draws with the 10–90 % range of what is not known, widened to hold the mean."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True)
class Uses:
    """Where packets end: arrays (cells,) of heat class, days in the parcel, days at 4 °C, and chance."""

    heat_class_c: FloatArray
    parcel_days: IntegerArray
    cool_days: IntegerArray
    chance: FloatArray


def uses_of(
    posted: FloatArray,
    cool_start: IntegerArray,
    way: Journey,
    day_probability: FloatArray,
    weights: FloatArray,
) -> Uses:
    """Gather the uses of all packets that a policy posts.

    Parameters
    ----------
    posted : array (days, longest gap)
        Chance that a packet is posted on a day after so many days of rest.
    cool_start : array (days, longest gap)
        Days at 4 °C of such a packet, besides the parcel, when it can first be used.
    day_probability : array (15,)
        Chance of delivery on each business day.
    weights : array (days, days)
        First-use weights of the recipient.

    Returns
    -------
    Uses
        Cells that together hold all but the negligible part of the chance.
    """
    span = weights.shape[1]
    classes = np.unique(way.heat_class_c)
    gathered = np.zeros((classes.size, way.longest_parcel_days + 1, span + int(cool_start.max())))
    for day, rest in zip(*np.nonzero(posted), strict=True):
        heat = int(np.searchsorted(classes, way.heat_class_c[day]))
        inside = np.flatnonzero(way.usable_day[day] < weights.shape[0])
        rows = weights[way.usable_day[day, inside]] * day_probability[inside, None] * posted[day, rest]
        start = int(cool_start[day, rest])
        np.add.at(gathered[heat, :, start : start + span], way.parcel_days[day, inside], rows)
    return uses_in(classes, gathered)


def uses_in(heat_class_c: FloatArray, gathered: FloatArray) -> Uses:
    """The likely uses of ``gathered``, chances (classes, days in the parcel, days at 4 °C).

    ``heat_class_c`` (classes,) names the classes.
    """
    heat_index, parcel_days, cool = _largest_cells(gathered)
    return Uses(heat_class_c[heat_index], parcel_days, cool, gathered[heat_index, parcel_days, cool])


def _largest_cells(chance: FloatArray) -> tuple[IntegerArray, ...]:
    """Indices of the largest cells, leaving out those that together hold a negligible share."""
    some = np.flatnonzero(chance)
    order = some[np.argsort(chance.ravel()[some])[::-1]]
    reached = np.cumsum(chance.ravel()[order])
    total = reached[-1] if some.size else 0.0
    kept = int(np.searchsorted(reached, total * (1.0 - constants.NEGLIGIBLE_EFFECT.value))) + 1
    return tuple(index.astype(np.int64) for index in np.unravel_index(order[:kept], chance.shape))


def packet_effect_by_draw(
    uses: Uses, draws: ViabilityDraws, age_days: FloatArray, packing: Packing
) -> FloatArray:
    """Chance, for each draw, that a packet is used with its pollen still setting seed; array (draws,).

    ``age_days`` is the thermal age of each draw when the packet begins to rest or travel.
    """
    count = draws.q10.size
    rate = live_effect_rates()[:count]
    total = np.zeros(count)
    for heat in np.unique(uses.heat_class_c):
        in_parcel = parcel_age_days(packing, float(heat), int(uses.parcel_days.max()))[:count]
        for day in np.unique(uses.parcel_days[uses.heat_class_c == heat]):
            cell = (uses.heat_class_c == heat) & (uses.parcel_days == day)
            ages = (age_days + in_parcel[:, day])[:, None] + uses.cool_days[cell]
            total += live_effect(remaining_fraction(draws, ages), rate) @ uses.chance[cell]
    return total


def shown_estimate(mean: float, by_draw: FloatArray, weight: FloatArray) -> Estimate:
    """The mean with the 10–90 % range over the draws, widened to contain the mean."""
    tail = constants.LOW_QUANTILE.value
    low = float(weighted_quantile(by_draw, weight, tail))
    high = float(weighted_quantile(by_draw, weight, 1.0 - tail))
    return Estimate(mean, min(low, mean), max(high, mean))
