"""From forecasts, parcel and pollen to the worth of posting on each day, and to a posting policy."""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from exchange.matching import decision
from exchange.matching.arrival import Journey, journey, posted_value
from exchange.matching.effect import EffectTable, dispatch_age_days, effect_of_age, effect_table
from exchange.matching.flower_weight import first_use_weights
from exchange.matching.posting_date import Decider
from exchange.matching.readiness import DonorClock, PostingDays, donor_clock, posting_days, ready_chance
from exchange.matching.side import Bloom, CrossWanted, Lane, PollenOffer
from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray
from exchange.science.bloom_scenario import BloomScenarios, daily_rate
from exchange.science.thermal_age import rate_factor
from exchange.science.transit import Transit
from exchange.science.viability import ViabilityDraws, prior_draws

TRAVEL_MARGIN_DAYS = 60


@dataclass(frozen=True)
class Course:
    """One offer towards one wanted cross, laid out on the days ahead (day 0 is ``today``).

    ``weights`` are the recipient's first-use weights, ``early_weights`` those of a season that ends
    early; ``ready`` (days, longest gap) is the chance that pollen of each rest is ready.
    """

    today: date
    days: PostingDays
    way: Journey
    weights: FloatArray
    early_weights: FloatArray
    receptive_rate: FloatArray
    ready: FloatArray
    base_rest_days: int
    candidate: BoolArray


@dataclass(frozen=True)
class Value:
    """Worth of a packet posted on each day: for each rest (days, longest gap), and their mean (days,)."""

    by_rest: FloatArray
    mean: FloatArray


@dataclass(frozen=True)
class Followed:
    """The posting policy followed: its worth, and the chance of posting on each day at each rest."""

    value: float
    posted: FloatArray

    @property
    def likeliest_day(self) -> int:
        """The day on which the packet is most likely posted."""
        return int(np.argmax(self.posted.sum(axis=1)))


@dataclass(frozen=True)
class RecipientFlowers:
    """Receptive flowers ahead: rate (scenarios, days) and first-use weights, central and ending early."""

    rate: FloatArray
    weights: FloatArray
    early_weights: FloatArray


def recipient_flowers(bloom: Bloom, today: date) -> RecipientFlowers | None:
    """The recipient's flowers over the horizon; None if no scenario has one. Once for each wanted cross."""
    span = int(constants.SEASON_HORIZON_DAYS.value) + TRAVEL_MARGIN_DAYS
    rate = daily_rate(bloom.scenarios, today, span)
    flowering = np.flatnonzero(rate.any(axis=0))
    if flowering.size == 0:
        return None
    rate = rate[:, : int(flowering[-1]) + 1]
    early = daily_rate(_ending_early(bloom.scenarios), today, rate.shape[1])
    return RecipientFlowers(rate, first_use_weights(rate), first_use_weights(early))


def _ending_early(scenarios: BloomScenarios) -> BloomScenarios:
    if scenarios.all_year:
        return scenarios
    end = np.quantile(scenarios.end_day, constants.LOW_QUANTILE.value)
    return replace(scenarios, end_day=np.minimum(scenarios.end_day, end))


def course(
    offer: PollenOffer, wanted: CrossWanted, lane: Lane, today: date, flowers: RecipientFlowers
) -> Course:
    """Lay an offer out towards a wanted cross."""
    days_ahead = min(int(constants.SEASON_HORIZON_DAYS.value), flowers.rate.shape[1])
    days = posting_days(lane, today, days_ahead)
    clock = donor_clock(offer, lane)
    ready = _ready(offer, clock, days, today)
    horizon = np.arange(days_ahead) <= constants.HORIZON_DAYS.value
    likely = ready.sum(axis=1) >= constants.READY_CHANCE_MINIMUM.value
    return Course(
        today=today,
        days=days,
        way=journey(lane, today, days_ahead, night_opening=wanted.parent.diel == "night"),
        weights=flowers.weights,
        early_weights=flowers.early_weights,
        receptive_rate=flowers.rate,
        ready=ready,
        base_rest_days=0 if offer.lot else clock.rest_days,
        candidate=days.is_open & horizon & likely,
    )


def _ready(offer: PollenOffer, clock: DonorClock, days: PostingDays, today: date) -> FloatArray:
    if offer.lot is not None:
        return days.is_open[:, None].astype(np.float64)
    lead = _lead_days(clock, days)
    return ready_chance(_opening_rate(offer, today, lead, days.is_open.size), lead, clock, days)


def _lead_days(clock: DonorClock, days: PostingDays) -> int:
    return clock.lag_days + clock.shedding_days + days.longest_gap


def _opening_rate(offer: PollenOffer, today: date, lead: int, days: int) -> FloatArray:
    if offer.bloom is None:
        raise ValueError(f"bloom of {offer.key} is missing; allowed: a forecast, or a lot in hand.")
    first = date.fromordinal(today.toordinal() - lead)
    return daily_rate(offer.bloom.scenarios, first, lead + days)


def values(offer: PollenOffer, lane: Lane, course: Course) -> dict[Decider, Value]:
    """Worth of posting on each day in the central case and in the three unfavourable ones."""
    tables = _effect_tables(offer, lane, course)
    mean = [table.mean for table in tables]
    low = [table.low for table in tables]
    usual, slow = lane.transit, lane.slow_transit
    return {
        "central": _value(offer, course, usual, course.weights, mean),
        "viability": _value(offer, course, usual, course.weights, low),
        "recipient_end": _value(offer, course, usual, course.early_weights, mean),
        "transit": _value(offer, course, slow, course.weights, mean),
    }


def _value(
    offer: PollenOffer, course: Course, transit: Transit, weights: FloatArray, effect: list[FloatArray]
) -> Value:
    by_rest = np.zeros(course.ready.shape)
    for rest in range(course.ready.shape[1]):
        cool = cool_days(offer, course, rest)
        by_rest[:, rest] = posted_value(course.way, transit.day_probability, weights, effect, cool)
    by_rest[~course.days.is_open] = 0.0
    ready = course.ready.sum(axis=1)
    mean = (course.ready * by_rest).sum(axis=1) / np.where(ready > 0.0, ready, 1.0)
    return Value(by_rest, mean)


def cool_days(offer: PollenOffer, course: Course, rest: int) -> IntegerArray:
    """Days at 4 °C, besides the parcel, of pollen posted on each day when it can first be used.

    Waiting in a refrigerator until a later posting day is part of them; waiting in a freezer is part of
    the age at posting instead.
    """
    days = course.days.is_open.size
    waited = np.arange(days) if offer.lot and offer.lot.store == "refrigerator" else np.zeros(days, np.int64)
    return waited + course.base_rest_days + rest + course.way.waiting_days


def cool_start(offer: PollenOffer, course: Course) -> IntegerArray:
    """``cool_days`` of each posting day and rest, array (days, longest gap)."""
    return np.stack([cool_days(offer, course, rest) for rest in range(course.ready.shape[1])], axis=1)


def pollen(offer: PollenOffer, day: int) -> tuple[ViabilityDraws, FloatArray]:
    """The draws of a pollen's life, and its thermal age when posting day ``day`` comes, without resting."""
    draws = prior_draws(offer.treatment)
    if offer.lot is None:
        return draws, dispatch_age_days(offer.treatment)
    if offer.lot.store == "refrigerator":
        return draws, offer.lot.age_days
    return draws, offer.lot.age_days + day * rate_factor(constants.FREEZING_C.value, draws.q10)


def _effect_tables(offer: PollenOffer, lane: Lane, course: Course) -> list[EffectTable]:
    """The table of each posting day; days of one heat class share it unless pollen ages in a freezer."""
    wait = _longest_wait(offer, course)
    nothing = EffectTable(*(np.zeros((course.way.longest_parcel_days + 1, wait + 1)) for _ in range(2)))
    made: dict[tuple[float, int], EffectTable] = {}
    tables: list[EffectTable] = []
    for day, heat in enumerate(course.way.heat_class_c):
        if not course.ready[day].any():
            tables.append(nothing)
            continue
        key = float(heat), day if offer.lot and offer.lot.store == "freezer" else 0
        if key not in made:
            made[key] = _effect_table(offer, lane, course, day, wait)
        tables.append(made[key])
    return tables


def _longest_wait(offer: PollenOffer, course: Course) -> int:
    """Most days at 4 °C that count: from the first packet that can arrive to the last flower."""
    ready = np.flatnonzero(course.ready.any(axis=1))
    if ready.size == 0:
        return 0
    first_usable = int(course.way.usable_day[ready[0], 0])
    cool = int(cool_start(offer, course)[ready].max())
    return max(0, int(course.weights.shape[1]) - first_usable) + cool


def _effect_table(offer: PollenOffer, lane: Lane, course: Course, day: int, wait: int) -> EffectTable:
    heat = float(course.way.heat_class_c[day])
    if offer.lot is not None and offer.lot.store == "freezer":
        rows = np.unique(course.way.parcel_days[day])
    else:
        ready = course.ready.any(axis=1) & (course.way.heat_class_c == heat)
        rows = np.unique(course.way.parcel_days[ready])
    if offer.lot is None:
        return effect_table(offer.treatment, lane.packing, heat, rows, wait)
    draws, age = pollen(offer, day)
    return effect_of_age(draws, age, packing=lane.packing, heat_class=heat, parcel_days=rows, wait_days=wait)


def follow(offer: PollenOffer, lane: Lane, course: Course, value: Value) -> Followed:
    """Follow the donor's table through every scenario; a lot in hand is posted on its best day."""
    if offer.lot is not None:
        best = int(np.argmax(value.mean))
        posted = np.zeros(value.by_rest.shape)
        posted[best, 0] = 1.0
        return Followed(float(value.mean[best]), posted)
    clock = donor_clock(offer, lane)
    states = decision.states_of(clock, course.days)
    lead = _lead_days(clock, course.days)
    rate = _opening_rate(offer, course.today, lead, course.days.is_open.size)
    opening = -np.expm1(-rate)
    table = decision.decide(value.by_rest, opening[:, lead:].mean(axis=0), states, course.days)
    policy = decision.follow(table, value.by_rest, opening, lead, states)
    return Followed(policy.value, policy.posted)
