"""Flower by flower: seasons of one pair, played out one by one with the donor's own table.

Nothing is averaged: each season draws first and last bloom and the rate of both plants, the flowers of
each day, the parcel's days or its loss, the life of the pollen, the compatibility, and whether each
pollination takes. It shares with the engine the laws these are drawn from and the table "post today or
wait"; so it checks arithmetic, not nature.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from math import ceil

import numpy as np

from exchange.matching import decision, posting
from exchange.matching.eligibility import compatibility
from exchange.matching.readiness import donor_clock
from exchange.matching.side import Bloom
from exchange.science import constants
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_chain import BUD_LAG
from exchange.science.bloom_scenario import daily_rate
from exchange.science.business_day import delivery_date, next_open_day
from exchange.science.constants import LogNormalPrior
from exchange.science.parcel import heat_class_c, thermal_age_in_parcel_days
from exchange.science.season_statistic import truncated_normal_quantile
from exchange.science.thermal_age import rate_factor
from exchange.science.viability import HALF_LIFE_PRIORS
from tests.matching.instance import Instance

NEVER = -1
BEFORE_DAYS = 40
Flowering = Callable[[np.random.Generator, BloomWindow, int, int, int], IntegerArray]


@dataclass(frozen=True)
class Outcome:
    """Shares of the seasons in which the first dose set a capsule and in which any did; capsules a season."""

    each_flower: float
    several: float
    seasons: int
    capsules: float

    def standard_error(self, share: float) -> float:
        """Standard error of a share of the seasons."""
        return float(np.sqrt(max(share * (1.0 - share), 0.0) / self.seasons))


@dataclass(frozen=True)
class Pollen:
    """The life of the pollen of each season, arrays (seasons,)."""

    half_life_days: FloatArray
    shape: FloatArray
    q10: FloatArray
    rate: FloatArray
    takes: FloatArray

    def success(self, rows: IntegerArray, age_days: FloatArray) -> FloatArray:
        """Chance that a pollination takes in some of the seasons."""
        left = np.exp(-np.log(2.0) * (age_days / self.half_life_days[rows]) ** self.shape[rows])
        rate = self.rate[rows]
        effect: FloatArray = (1.0 - np.exp(-rate * left)) / (1.0 - np.exp(-rate))
        return self.takes[rows] * effect


@dataclass(frozen=True)
class Posted:
    """The packet of each season: day of posting (NEVER) and days at 4 °C since it left drying."""

    day: IntegerArray
    cool_days: IntegerArray


def simulate(
    pair: Instance, *, seasons: int, seed: int, flowering: Flowering | None = None, doses: int | None = None
) -> Outcome:
    """Play ``seasons`` seasons of a pair."""
    rng = np.random.default_rng(seed)
    flowering = poisson_flowers if flowering is None else flowering
    lives = draw_pollen(rng, pair, seasons)
    if pair.offer.lot is None:
        posted = post_on_request(rng, pair, seasons, flowering)
    else:
        posted = post_in_hand(pair, seasons)
    delivered = deliver(rng, pair, posted.day)
    assert pair.wanted.bloom is not None
    span = int(constants.SEASON_HORIZON_DAYS.value) + posting.TRAVEL_MARGIN_DAYS
    flowers = flowering(rng, pair.wanted.bloom.window, _offset(pair, pair.wanted.bloom), span, seasons)
    age = age_on_arrival(pair, lives, posted, delivered)
    count = min(pair.offer.doses, pair.wanted.flowers) if doses is None else doses
    return pollinate(rng, pair, lives, delivered, age, flowers, count)


def _offset(pair: Instance, bloom: Bloom) -> int:
    return (pair.today - bloom.window.origin).days


def draw_pollen(rng: np.random.Generator, pair: Instance, seasons: int) -> Pollen:
    """Draw the life of the pollen and how well the two plants take."""

    def log_normal(prior: LogNormalPrior) -> FloatArray:
        drawn = rng.lognormal(np.log(prior.median), prior.sd_log, seasons)
        while (outside := (drawn < prior.low) | (drawn > prior.high)).any():
            drawn[outside] = rng.lognormal(np.log(prior.median), prior.sd_log, int(outside.sum()))
        return drawn

    taking = compatibility(pair.wanted.parent, pair.offer.parent)
    mean = np.clip(rng.beta(taking.prior.alpha, taking.prior.beta, seasons), 1e-12, 1.0 - 1e-12)
    spread = constants.CLONE_CONCENTRATION.value
    return Pollen(
        half_life_days=log_normal(HALF_LIFE_PRIORS[pair.offer.treatment]),
        shape=log_normal(constants.SHAPE),
        q10=log_normal(constants.Q10),
        rate=log_normal(constants.LIVE_EFFECT_RATE),
        takes=taking.factor * rng.beta(spread * mean, spread * (1.0 - mean)),
    )


def draw_seasons(
    rng: np.random.Generator, known: BloomWindow, seasons: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """First day, last day and flowers a day of each season; a season without bloom has no flowers."""
    start = rng.normal(known.start_mean, known.start_sd, seasons)
    end = rng.normal(known.end_mean, known.end_sd, seasons)
    rate = rng.gamma(known.rate_shape, 1.0 / known.rate_exposure_days, seasons) * known.crowns
    if known.all_year:
        return np.full(seasons, -np.inf), np.full(seasons, np.inf), rate
    rate[(rng.random(seasons) >= known.flowering_chance) | (end <= start)] = 0.0
    return start, end, rate


def poisson_flowers(
    rng: np.random.Generator, known: BloomWindow, first: int, days: int, seasons: int
) -> IntegerArray:
    """Flowers that open on each day, independent from day to day; array (seasons, days)."""
    start, end, rate = draw_seasons(rng, known, seasons)
    day = first + np.arange(days)
    inside = (start[:, None] <= day) & (day <= end[:, None])
    flowers: IntegerArray = rng.poisson(np.where(inside, rate[:, None], 0.0))
    return flowers


def even_flowers(
    rng: np.random.Generator, known: BloomWindow, first: int, days: int, seasons: int
) -> IntegerArray:
    """The same seasons on a crown that opens its flowers at even intervals, from a random first one on."""
    start, end, rate = draw_seasons(rng, known, seasons)
    day = first + np.arange(days)
    inside = (start[:, None] <= day) & (day <= end[:, None])
    phase = rng.random(seasons)
    opened = np.floor(rate[:, None] * np.arange(days + 1) + phase[:, None])
    return np.where(inside, np.diff(opened, axis=1), 0.0).astype(np.int64)


def post_in_hand(pair: Instance, seasons: int) -> Posted:
    """A lot goes on the day that the engine found best."""
    assert pair.flowers is not None and pair.offer.lot is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    central = posting.values(pair.offer, pair.lane, course)["central"]
    day = posting.follow(pair.offer, pair.lane, course, central).likeliest_day
    chilled = pair.offer.lot.store == "refrigerator"
    return Posted(np.full(seasons, day), np.full(seasons, pair.offer.lot.stored_days + day if chilled else 0))


def simulate_at_the_bud(pair: Instance, *, seasons: int, seed: int) -> tuple[float, Outcome]:
    """Play seasons of a lot that waits for the bud; the share that is posted, and all seasons' outcome."""
    assert pair.offer.lot is not None and pair.wanted.bloom is not None
    rng = np.random.default_rng(seed)
    lives = draw_pollen(rng, pair, seasons)
    span = int(constants.SEASON_HORIZON_DAYS.value) + posting.TRAVEL_MARGIN_DAYS
    bloom = pair.wanted.bloom
    flowers = poisson_flowers(rng, bloom.window, _offset(pair, bloom), span, seasons)
    bud = buds_reported(rng, flowers)
    reported = np.where(bud.any(axis=1), bud.argmax(axis=1), NEVER)
    day = np.full(seasons, NEVER)
    for seen in np.unique(reported[reported != NEVER]):
        day[reported == seen] = posted_after(pair, int(seen))
    posted = Posted(day, np.where(day == NEVER, 0, pair.offer.lot.stored_days + day))
    delivered = deliver(rng, pair, day)
    age = age_on_arrival(pair, lives, posted, delivered)
    played = pollinate(rng, pair, lives, delivered, age, flowers, 1)
    return float((day != NEVER).mean()), played


def buds_reported(rng: np.random.Generator, flowers: IntegerArray) -> BoolArray:
    """Days of each season on which the recipient looks and a bud is at the surface; shape of ``flowers``."""
    lag = truncated_normal_quantile(rng.random(flowers.shape[0]), BUD_LAG["at the surface"], low=0.0)
    bud = np.zeros(flowers.shape, np.bool_)
    for ahead in range(1, ceil(lag.max()) + 1):
        rows = lag > ahead - 1
        bud[rows, :-ahead] |= flowers[rows, ahead:] > 0
    looked: BoolArray = rng.random(flowers.shape) < constants.BUD_LOOK_CHANCE.value
    return bud & looked


def posted_after(pair: Instance, reported: int) -> int:
    """Day ahead on which the donor posts who is told on the day ``reported``: the next open one."""
    post_on = next_open_day(pair.lane.origin, pair.today + timedelta(days=reported + 1))
    return (post_on - pair.today).days


def post_on_request(rng: np.random.Generator, pair: Instance, seasons: int, flowering: Flowering) -> Posted:
    """The donor looks at the pond each day, collects, dries, and posts when the table says so."""
    assert pair.offer.bloom is not None
    table, days, lag = donor_table(pair)
    flowers = flowering(
        rng,
        pair.offer.bloom.window,
        _offset(pair, pair.offer.bloom) - BEFORE_DAYS,
        BEFORE_DAYS + days,
        seasons,
    )
    opened = flowers > 0
    post_day, cool = np.full(seasons, NEVER), np.zeros(seasons, np.int64)
    last_open = _last_open_before(pair)
    for day in range(days):
        if not pair.lane.origin.is_open(pair.today + timedelta(days=day)):
            continue
        rest = freshest_rest(pair, opened, day, last_open)
        seen = donor_state(pair, opened, day, lag, table.shape[1])
        goes = (post_day == NEVER) & (rest >= 0) & table[day, seen]
        post_day[goes], cool[goes] = day, rest[goes]
        last_open = day
    return Posted(post_day, cool)


def donor_table(pair: Instance) -> tuple[BoolArray, int, int]:
    """The engine's table "post today or wait", its days, and the lag of the donor's clock."""
    assert pair.flowers is not None and pair.offer.bloom is not None
    course = posting.course(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    central = posting.values(pair.offer, pair.lane, course)["central"]
    clock = donor_clock(pair.offer, pair.lane)
    days = course.days.is_open.size
    chance = -np.expm1(-daily_rate(pair.offer.bloom.scenarios, pair.today, days))
    states = decision.states_of(clock, course.days)
    return decision.decide(central.by_rest, chance.mean(axis=0), states, course.days), days, clock.lag_days


def _last_open_before(pair: Instance) -> int:
    longest = int(constants.LONGEST_CLOSED_RUN_DAYS.value)
    opened = [
        -back for back in range(1, longest) if pair.lane.origin.is_open(pair.today - timedelta(days=back))
    ]
    return max(opened, default=-longest)


def freshest_rest(pair: Instance, opened: BoolArray, day: int, last_open: int) -> IntegerArray:
    """Days at 4 °C of the freshest pollen that became ready after the last open day; -1 where there is none.

    A flower that opens on a day is known the day after; pollen that would be ready sooner waits for that.
    """
    parent = pair.offer.parent
    drying = ceil(constants.DRYING_HOURS.value / 24.0) if pair.offer.treatment != "fresh" else 0
    held = 1 if parent.diel == "night" or not pair.lane.collected_before_cut_off else 0
    rest = np.full(opened.shape[0], -1)
    for opening in range(day - 1, -BEFORE_DAYS - 1, -1):
        for pollen_day in range(parent.pollen_last_day, parent.pollen_first_day - 1, -1):
            collected = opening + pollen_day - 1
            ready = max(collected + drying + held, opening + 1)
            if not last_open < ready <= day:
                continue
            since = day - collected - drying
            fresher = opened[:, opening + BEFORE_DAYS] & ((rest < 0) | (since < rest))
            rest[fresher] = since
    return rest


def donor_state(pair: Instance, opened: BoolArray, day: int, lag: int, states: int) -> IntegerArray:
    """The column of the table for what a donor has seen by the morning of a day."""
    recent = lag - 1
    oldest = (states >> recent) - 1
    seen = np.zeros(opened.shape[0], np.int64)
    for back in range(recent, 0, -1):
        seen = (seen << 1) | opened[:, day - back + BEFORE_DAYS]
    age = np.full(opened.shape[0], oldest)
    for back in range(oldest - 1, -1, -1):
        age[opened[:, day - lag - back + BEFORE_DAYS]] = back
    result: IntegerArray = (age << recent) | seen
    return result


def deliver(rng: np.random.Generator, pair: Instance, posted: IntegerArray) -> IntegerArray:
    """Day of delivery of each packet, NEVER if it was not posted or got lost."""
    arrives = np.full(posted.size, NEVER)
    shares = np.append(pair.lane.transit.day_probability, pair.lane.transit.lost_probability)
    steps = rng.choice(shares.size, size=posted.size, p=shares / shares.sum())
    for day in np.unique(posted[posted != NEVER]):
        dispatched = pair.today + timedelta(days=int(day))
        for step in np.unique(steps[(posted == day) & (steps < shares.size - 1)]):
            on = delivery_date(
                pair.lane.origin,
                pair.lane.destination,
                dispatched,
                int(step) + 1,
                customs_delay_days=pair.lane.customs_delay_days,
            )
            arrives[(posted == day) & (steps == step)] = (on - pair.today).days
    return arrives


def age_on_arrival(pair: Instance, lives: Pollen, posted: Posted, delivered: IntegerArray) -> FloatArray:
    """Thermal age of each packet on the day of its delivery, equivalent days at 4 °C."""
    days_dried = constants.DRYING_HOURS.value / 24.0 if pair.offer.treatment != "fresh" else 0.0
    age = days_dried * rate_factor(constants.DRYING_TEMPERATURE_C.value, lives.q10) + posted.cool_days
    lot = pair.offer.lot
    if lot is not None and lot.store == "freezer":
        age += (lot.stored_days + posted.day) * rate_factor(constants.FREEZING_C.value, lives.q10)
    for day in np.unique(posted.day[delivered != NEVER]):
        month = (pair.today + timedelta(days=int(day))).month
        heat = heat_class_c(float(pair.lane.ambient_c[month - 1]))
        for arrival in np.unique(delivered[(posted.day == day) & (delivered != NEVER)]):
            rows = np.flatnonzero((posted.day == day) & (delivered == arrival))
            hours = np.array([(arrival - day) * 24.0])
            age[rows] += thermal_age_in_parcel_days(pair.lane.packing, heat, hours, lives.q10[rows])[:, 0]
    return age


def pollinate(
    rng: np.random.Generator,
    pair: Instance,
    lives: Pollen,
    delivered: IntegerArray,
    age: FloatArray,
    flowers: IntegerArray,
    doses: int,
    waiting_c: float = constants.STORE_TEMPERATURE_C.value,
) -> Outcome:
    """Use one dose on each receptive flower from the first day on which the packet serves."""
    seasons, span = flowers.shape
    waiting_rate = rate_factor(waiting_c, lives.q10)
    waits = 0 if pair.wanted.parent.diel == "night" or pair.lane.delivery_before_opening else 1
    usable = np.where(delivered == NEVER, span, delivered + waits)
    left = np.full(seasons, doses)
    first, capsules = np.zeros(seasons, np.int64), np.zeros(seasons, np.int64)
    for day in range(span):
        rows = np.flatnonzero((usable <= day) & (left > 0) & (flowers[:, day] > 0))
        used = np.minimum(flowers[rows, day], left[rows])
        chance = lives.success(rows, age[rows] + waiting_rate[rows] * (day - delivered[rows]))
        one = rng.binomial(1, chance)
        fresh_packet = left[rows] == doses
        first[rows[fresh_packet]] = one[fresh_packet]
        capsules[rows] += one + rng.binomial(used - 1, chance)
        left[rows] -= used
    return Outcome(float(first.mean()), float((capsules > 0).mean()), seasons, float(capsules.mean()))
