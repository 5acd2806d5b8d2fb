"""What several doses of one packet give together: the chance of at least one capsule."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from exchange.matching import posting
from exchange.matching.capsule import any_capsule_chance
from exchange.matching.chance import Estimate, shown_estimate
from exchange.matching.effect import first_draws, parcel_age_days, posting_age_days
from exchange.matching.side import Lane, PollenOffer
from exchange.science.arrays import FloatArray
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.viability import prior_draws, remaining_fraction

DRAWS = 128
SCENARIOS = 8
LEAST_TRANSIT_CHANCE = 0.05
"""Size of the sample, and days of transit left out as rare (judgement): the result is scaled to one dose."""


@dataclass(frozen=True)
class Arrival:
    """One way a packet may arrive: how likely, from which day ahead it can be used, and ``success``.

    ``success`` is the chance that a pollination takes on each day ahead, array (DRAWS, days), 0 before.
    """

    chance: float
    usable_day: int
    success: FloatArray


def several_flowers(
    offer: PollenOffer,
    lane: Lane,
    course: posting.Course,
    followed: posting.Followed,
    takes: FloatArray,
    each: Estimate,
    flowers: int,
) -> Estimate:
    """Chance of at least one capsule when a packet of ``flowers`` doses is posted on its likeliest day.

    Computed over common draws and scenarios on that day, then scaled so that one dose gives ``each``.
    """
    if flowers == 1:
        return each
    arrived = arrivals(offer, lane, course, followed.likeliest_day, takes)
    rate = some_scenarios(course.flowers.rate)
    one, many = (by_draw(arrived, rate, doses) for doses in (1, flowers))
    if one.mean() <= 0.0:
        return each
    scaled = np.minimum(many * (each.estimate / one.mean()), 1.0)
    return shown_estimate(float(scaled.mean()), scaled, np.full(DRAWS, 1.0 / DRAWS))


def by_draw(arrived: Sequence[Arrival], rate: FloatArray, doses: int) -> FloatArray:
    """Chance of at least one capsule of a posted packet, for each of the first draws; array (DRAWS,)."""
    flowering = np.flatnonzero(rate.any(axis=0))
    total = np.zeros(DRAWS)
    for arrival in arrived:
        days = flowering[flowering >= arrival.usable_day]
        chance = any_capsule_chance(arrival.success[:, None, days], rate[:, days], doses)
        total += arrival.chance * chance.mean(axis=1)
    return total


def arrivals(
    offer: PollenOffer,
    lane: Lane,
    course: posting.Course,
    day: int,
    takes: FloatArray,
    *,
    least_share: float = LEAST_TRANSIT_CHANCE,
) -> list[Arrival]:
    """The arrivals of a packet posted on a day with the freshest pollen.

    Those on transit days below ``least_share`` are left out as rare; 0 gives all of them.
    """
    draws = first_draws(prior_draws(offer.treatment), DRAWS)
    age = posting_age_days(offer.treatment, posting.frozen_days(offer, day))[:DRAWS]
    longest = course.way.longest_parcel_days
    in_parcel = parcel_age_days(lane.packing, float(course.way.heat_class_c[day]), longest)[:DRAWS]
    days = course.flowers.rate.shape[1]
    found = []
    for step in np.flatnonzero(lane.transit.day_probability >= least_share):
        usable = int(course.way.usable_day[day, step])
        if usable >= days:
            continue
        travelled = in_parcel[:, course.way.parcel_days[day, step]]
        arrived = age + posting.cool_start(offer, course)[day, 0] + travelled
        ages = arrived[:, None] + np.arange(days - usable)
        success = np.zeros((DRAWS, days))
        left = live_effect(remaining_fraction(draws, ages), live_effect_rates()[:DRAWS])
        success[:, usable:] = takes[:DRAWS, None] * left
        found.append(Arrival(float(lane.transit.day_probability[step]), usable, success))
    return found


def some_scenarios(rate: FloatArray) -> FloatArray:
    """The first of the recipient's scenarios.

    The first points of a Sobol sequence are spread evenly; every eighth of them lies in one corner.
    """
    return rate[:SCENARIOS]
