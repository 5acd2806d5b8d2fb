"""From forecasts, parcel and pollen to the worth of posting on each day, and to a posting policy."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from exchange.matching import decision
from exchange.matching.arrival import Journey, journey, posted_value
from exchange.matching.bud_report import first_reports
from exchange.matching.chance import Uses, uses_of
from exchange.matching.effect import EffectTable, effect_table
from exchange.matching.flower_weight import first_use_weights, use_rows
from exchange.matching.posting_date import Decider
from exchange.matching.readiness import (
    DonorClock,
    PostingDays,
    donor_clock,
    near_chance,
    posting_days,
    ready_chance,
)
from exchange.matching.side import Bloom, CrossWanted, Lane, LotInHand, PollenOffer
from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray
from exchange.science.bloom_scenario import BloomScenarios, daily_rate
from exchange.science.transit import Transit, arrival_quantile_days

TRAVEL_MARGIN_DAYS = 60


@dataclass(frozen=True)
class RecipientFlowers:
    """Receptive flowers ahead: rate (scenarios, days) and first-use weights, central and ending early."""

    rate: FloatArray
    weights: FloatArray
    early_weights: FloatArray

    @cached_property
    def first_reports(self) -> FloatArray:
        """When a bud is first reported, array (days, 14, scenarios); only lots that may wait ask for it."""
        return first_reports(self.rate)


@dataclass(frozen=True)
class Course:
    """One offer towards one wanted cross, laid out on the days ahead (day 0 is ``today``).

    ``ready`` (days, longest gap) is the chance that pollen of each rest is ready.
    """

    today: date
    days: PostingDays
    way: Journey
    flowers: RecipientFlowers
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
    way = journey(lane, today, days_ahead, night_opening=wanted.parent.diel == "night")
    ready = _lot_ready(offer.lot, days, way, flowers) if offer.lot else _ready(offer, clock, days, today)
    horizon = np.arange(days_ahead) <= constants.HORIZON_DAYS.value
    likely = ready.sum(axis=1) >= constants.READY_CHANCE_MINIMUM.value
    return Course(
        today=today,
        days=days,
        way=way,
        flowers=flowers,
        ready=ready,
        base_rest_days=0 if offer.lot else clock.rest_days,
        candidate=days.is_open & horizon & likely,
    )


def _lot_ready(lot: LotInHand, days: PostingDays, way: Journey, flowers: RecipientFlowers) -> FloatArray:
    """A lot is ready on every open day.

    A frozen one can wait: it stays frozen while no flower is near, and leaves on the next open day or at
    the beginning of a week, so that it does not lie about over a weekend.
    """
    ready = days.is_open.copy()
    if lot.store == "freezer":
        if days.longest_gap > 1:
            ready &= (days.gap_days > 1) | (np.cumsum(days.is_open) == 1)
        first_flower = int(np.flatnonzero(flowers.rate.any(axis=0))[0])
        ready &= way.usable_day[:, 0] >= first_flower - constants.FROZEN_UNTIL_DAYS.value
    return ready[:, None].astype(np.float64)


def _ready(offer: PollenOffer, clock: DonorClock, days: PostingDays, today: date) -> FloatArray:
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
    """Worth of posting in the central case on every day, in the three unfavourable ones on candidates."""
    tables = _effect_tables(offer, lane, course)
    mean = _means(tables)
    low = {day: tables[day].low for day in np.flatnonzero(course.candidate).tolist()}
    usual, slow, days = lane.transit, lane.slow_transit, course.candidate
    return {
        "central": _value(offer, course, usual, course.flowers.weights, mean, course.days.is_open),
        "viability": _value(offer, course, usual, course.flowers.weights, low, days),
        "recipient_end": _value(offer, course, usual, course.flowers.early_weights, mean, days),
        "transit": _value(offer, course, slow, course.flowers.weights, mean, days),
    }


def central_value(offer: PollenOffer, lane: Lane, course: Course) -> Value:
    """Worth of posting on each day in the central case alone, for the ranking pass."""
    effect = mean_effects(offer, lane, course)
    return _value(offer, course, lane.transit, course.flowers.weights, effect, course.days.is_open)


def mean_effects(offer: PollenOffer, lane: Lane, course: Course) -> dict[int, FloatArray]:
    """Mean live effect of a packet posted on each day on which pollen may be ready.

    Arrays (days in the parcel + 1, days at 4 °C + 1).
    """
    return _means(_effect_tables(offer, lane, course))


def _means(tables: Mapping[int, EffectTable]) -> dict[int, FloatArray]:
    return {day: table.mean for day, table in tables.items()}


def ready_near(offer: PollenOffer, lane: Lane, course: Course) -> FloatArray:
    """Chance that pollen is ready on at least one open day within three days of each day; 1 for a lot."""
    if offer.lot is not None:
        return np.ones(course.days.is_open.size)
    clock = donor_clock(offer, lane)
    lead = _lead_days(clock, course.days)
    rate = _opening_rate(offer, course.today, lead, course.days.is_open.size)
    return near_chance(rate, lead, clock, course.days)


def _value(
    offer: PollenOffer,
    course: Course,
    transit: Transit,
    weights: FloatArray,
    effect: Mapping[int, FloatArray],
    days: BoolArray,
) -> Value:
    by_rest = np.zeros(course.ready.shape)
    for rest in range(course.ready.shape[1]):
        wanted = days & (course.ready[:, rest] > 0.0)
        cool = cool_days(offer, course, rest)
        by_rest[:, rest] = posted_value(course.way, transit.day_probability, weights, effect, cool, wanted)
    ready = course.ready.sum(axis=1)
    mean = (course.ready * by_rest).sum(axis=1) / np.where(ready > 0.0, ready, 1.0)
    return Value(by_rest, mean)


def cool_days(offer: PollenOffer, course: Course, rest: int) -> IntegerArray:
    """Days at 4 °C, besides the parcel, of pollen posted on each day when it can first be used.

    A lot's days in a refrigerator are part of them; days in a freezer are counted apart.
    """
    days = np.arange(course.days.is_open.size)
    chilled = offer.lot is not None and offer.lot.store == "refrigerator"
    waited = days + offer.lot.stored_days if chilled and offer.lot else np.zeros_like(days)
    return waited + course.base_rest_days + rest + course.way.waiting_days


def cool_start(offer: PollenOffer, course: Course) -> IntegerArray:
    """``cool_days`` of each posting day and rest, array (days, longest gap)."""
    return np.stack([cool_days(offer, course, rest) for rest in range(course.ready.shape[1])], axis=1)


def uses(offer: PollenOffer, lane: Lane, course: Course, followed: Followed) -> Uses:
    """Where the packets of a followed policy end."""
    start = cool_start(offer, course)
    return uses_of(followed.posted, start, course.way, lane.transit.day_probability, course.flowers.weights)


def dose_shares(
    offer: PollenOffer, lane: Lane, course: Course, followed: Followed, doses: int
) -> tuple[float, ...]:
    """Worth of the first, second, … dose of a packet posted on its likeliest day, as shares of the first.

    The j-th dose is used on the j-th receptive flower, so its worth never rises with j.
    """
    day = followed.likeliest_day
    table = _effect_table(offer, lane, course, day).mean
    start = int(cool_start(offer, course)[day, 0])
    worth = np.zeros(doses)
    for step in np.flatnonzero(course.way.usable_day[day] < course.flowers.rate.shape[1]):
        rows = use_rows(course.flowers.rate, int(course.way.usable_day[day, step]), doses)
        left = table[course.way.parcel_days[day, step], start : start + rows.shape[1]]
        worth += lane.transit.day_probability[step] * (rows[:, : left.size] @ left)
    falling = np.minimum.accumulate(worth)
    return tuple(float(share) for share in falling / falling[0]) if falling[0] > 0.0 else (1.0,)


def flowers_expected(course: Course, lane: Lane, followed: Followed) -> float:
    """Receptive flowers expected after half of the packets posted on the likeliest day have arrived."""
    step = arrival_quantile_days(lane.transit, 0.5) - 1
    usable = int(course.way.usable_day[followed.likeliest_day, step])
    return float(course.flowers.rate[:, usable:].sum(axis=1).mean())


def frozen_days(offer: PollenOffer, day: int) -> int:
    """Days in a freezer of pollen posted on a day ahead."""
    frozen = offer.lot is not None and offer.lot.store == "freezer"
    return offer.lot.stored_days + day if frozen and offer.lot else 0


def _effect_tables(offer: PollenOffer, lane: Lane, course: Course) -> dict[int, EffectTable]:
    """The table of each day on which pollen may be ready.

    Days of one heat class share it unless pollen ages in a freezer.
    """
    made: dict[tuple[float, int], EffectTable] = {}
    tables = {}
    for day in np.flatnonzero(course.ready.any(axis=1)).tolist():
        key = float(course.way.heat_class_c[day]), frozen_days(offer, day)
        if key not in made:
            made[key] = _effect_table(offer, lane, course, day)
        tables[day] = made[key]
    return tables


def _effect_table(offer: PollenOffer, lane: Lane, course: Course, day: int) -> EffectTable:
    heat, frozen = float(course.way.heat_class_c[day]), frozen_days(offer, day)
    alike = course.ready.any(axis=1) & (course.way.heat_class_c == heat)
    days = np.array([day]) if frozen else np.flatnonzero(alike)
    rows = np.unique(course.way.parcel_days[days])
    wait = _longest_wait(offer, course, days)
    return effect_table(offer.treatment, lane.packing, heat, rows, wait, frozen_days=frozen)


def _longest_wait(offer: PollenOffer, course: Course, days: IntegerArray) -> int:
    """Most days at 4 °C that count for a posting day: its first packets meet the last flower."""
    ahead = np.maximum(course.flowers.weights.shape[1] - course.way.usable_day[days, 0], 0)
    return int((ahead + cool_start(offer, course)[days].max(axis=1)).max())


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
