"""What several doses of one packet give together: the chance of at least one capsule."""

import numpy as np

from exchange.matching import posting
from exchange.matching.capsule import any_capsule_chance
from exchange.matching.chance import Estimate, shown_estimate
from exchange.matching.side import Lane, PollenOffer
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.parcel import thermal_age_in_parcel_days
from exchange.science.viability import ViabilityDraws, remaining_fraction

DRAWS = 128
SCENARIOS = 16
LEAST_TRANSIT_CHANCE = 0.02


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
    one, many = (_by_draw(offer, lane, course, followed, takes, doses) for doses in (1, flowers))
    if one.mean() <= 0.0:
        return each
    scaled = np.minimum(many * (each.estimate / one.mean()), 1.0)
    return shown_estimate(float(scaled.mean()), scaled, np.full(DRAWS, 1.0 / DRAWS))


def _by_draw(
    offer: PollenOffer,
    lane: Lane,
    course: posting.Course,
    followed: posting.Followed,
    takes: FloatArray,
    doses: int,
) -> FloatArray:
    """Chance of at least one capsule of a posted packet, for each of the first draws; array (DRAWS,)."""
    day = followed.likeliest_day
    rest = int(np.argmax(followed.posted[day]))
    everyone, age = posting.pollen(offer, day)
    draws, start_age = _first(everyone), age[:DRAWS] + posting.cool_start(offer, course)[day, rest]
    rate = course.receptive_rate[:: max(1, course.receptive_rate.shape[0] // SCENARIOS)]
    total = np.zeros(DRAWS)
    for step in np.flatnonzero(lane.transit.day_probability >= LEAST_TRANSIT_CHANCE):
        usable = int(course.way.usable_day[day, step])
        if usable >= rate.shape[1]:
            continue
        hours = np.array([course.way.parcel_days[day, step] * constants.HOURS_PER_DAY.value])
        heat = float(course.way.heat_class_c[day])
        arrived = start_age + thermal_age_in_parcel_days(lane.packing, heat, hours, draws.q10)[:, 0]
        ages = arrived[:, None] + np.arange(rate.shape[1] - usable)
        effect = live_effect(remaining_fraction(draws, ages), live_effect_rates()[:DRAWS])
        success = np.repeat(takes[:DRAWS, None] * effect, rate.shape[0], axis=0)
        chance = any_capsule_chance(success, np.tile(rate[:, usable:], (DRAWS, 1)), doses)
        total += lane.transit.day_probability[step] * chance.reshape(DRAWS, -1).mean(axis=1)
    return total


def _first(draws: ViabilityDraws) -> ViabilityDraws:
    weight = draws.weight[:DRAWS]
    return ViabilityDraws(
        initial=draws.initial[:DRAWS],
        half_life_days=draws.half_life_days[:DRAWS],
        shape=draws.shape[:DRAWS],
        q10=draws.q10[:DRAWS],
        weight=weight / weight.sum(),
    )
