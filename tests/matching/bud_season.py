"""Seasons of five growers who give to one another: packets posted by forecast, or at the bud call.

One seed is one season of all twenty pairs: the true bloom of each seed parent, its flowers, buds and looks
at the pond are drawn once, from the engine's own forecast. The pollen's life, the compatibility and the
parcel are drawn anew for each packet. Whatever day a donor posts on, all draws but the luck of single
pollinations stay the same.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache, cached_property
from itertools import permutations

import numpy as np

from exchange.matching import posting
from exchange.matching.plan import PairPlan
from exchange.matching.side import Lane
from exchange.models import Offer
from exchange.models.offer import PackingPreset
from exchange.science import constants
from exchange.science.arrays import BoolArray, IntegerArray
from exchange.science.bloom import BloomFacts, BloomWindow, PlantSetting, SaidWindow, SeasonRecord
from exchange.science.bloom_chain import forecast
from exchange.science.climate import climate_of
from exchange.selectors.lane import lane
from exchange.selectors.lane_seen import LaneSeen
from growers.models import Site
from tests.matching import simulation
from tests.matching.instance import Instance, bloom, lot, offer, wanted
from tests.matching.simulation import NEVER, Posted

# Judgement, all of these: five growers of hardy water lilies in outdoor ponds, each in another country.
PLACES = (("DE", 52.5, 9.5), ("FR", 43.5, 1.5), ("IT", 41.0, 14.5), ("US", 36.0, -79.0), ("JP", 34.5, 135.5))
KNOWN_BY = ("records", "said month", "similar plants", "climate", "hemisphere")
"""The lower links of the chain by which bloom is forecast: each is true of four pairs of a season."""
PAIRS = tuple(permutations(range(len(PLACES)), 2))
PACKETS, DOSES, CROWNS = 50, 4, 2
LEAD_DAYS = (14, 43)
"""Days from the agreement to the first flower forecast, lowest and one past the highest."""
STORED_DAYS = (1, 21)
FIRST_YEAR = 2026
RECORDED_SHIFT_DAYS = (-6, 1, 5)
SPAN_DAYS = int(constants.SEASON_HORIZON_DAYS.value) + posting.TRAVEL_MARGIN_DAYS


@dataclass(frozen=True)
class Season:
    """What is true of one pair: flowers opening and buds that would be reported on each day from today."""

    pair: Instance
    flowers: IntegerArray
    bud: BoolArray
    seed: tuple[int, int]

    @cached_property
    def plan(self) -> PairPlan:
        """The engine's plan for the lot."""
        return self.pair.planned()

    def rng(self, stream: int) -> np.random.Generator:
        """A stream of draws that does not depend on the day of posting."""
        return np.random.default_rng([*self.seed, stream])


@dataclass(frozen=True)
class Harvest:
    """Capsules, doses posted and doses agreed."""

    capsules: float
    posted: int
    agreed: int

    @property
    def of_100_posted(self) -> float:
        """Capsules from 100 doses that were posted."""
        return 100.0 * self.capsules / self.posted

    @property
    def of_100_agreed(self) -> float:
        """Capsules from 100 doses agreed on, those that stayed in the donor's store among them."""
        return 100.0 * self.capsules / self.agreed


@dataclass(frozen=True)
class Growers:
    """Who gives to whom, what is known of bloom, by turns, and how warm the recipients keep a packet."""

    pairs: tuple[int, ...] = tuple(range(len(PAIRS)))
    known_by: tuple[str, ...] = KNOWN_BY
    waiting_c: float = constants.STORE_TEMPERATURE_C.value


Policy = Callable[[Season], int]
"""The day after today on which the donor posts, NEVER if not at all."""
USUAL = Growers()


def by_forecast(season: Season) -> int:
    """The best day of the engine's plan for the lot, made when the two agree."""
    dates = season.plan.dates
    assert dates is not None
    return (dates.post_on - season.pair.today).days


def by_bud_call(season: Season) -> int:
    """The next open day after the first report of a bud at the surface, as the service tells the donor."""
    if not season.bud.any():
        return NEVER
    return simulation.posted_after(season.pair, int(season.bud.argmax()))


def by_plan(season: Season) -> int:
    """At the bud call where the engine's plan says that it is better, else by forecast."""
    bud_wait = season.plan.bud_wait
    assert bud_wait is not None
    return by_bud_call(season) if bud_wait.better else by_forecast(season)


def play(seed: int, policy: Policy, growers: Growers = USUAL) -> Harvest:
    """One season of all pairs under a policy."""
    seasons = [_drawn_once(seed, number, growers.known_by) for number in growers.pairs]
    days = [policy(season) for season in seasons]
    each = (capsules_of(season, day, growers) for season, day in zip(seasons, days, strict=True))
    doses = PACKETS * DOSES
    return Harvest(sum(each), doses * sum(day != NEVER for day in days), doses * len(days))


def capsules_of(season: Season, day: int, growers: Growers = USUAL) -> float:
    """Capsules from all packets of a pair, posted on a day."""
    pair, in_hand = season.pair, season.pair.offer.lot
    assert in_hand is not None
    posted = Posted(np.full(PACKETS, day), np.full(PACKETS, in_hand.stored_days + day))
    lives = simulation.draw_pollen(season.rng(1), pair, PACKETS)
    delivered = simulation.deliver(season.rng(2), pair, posted.day)
    age = simulation.age_on_arrival(pair, lives, posted, delivered)
    flowers = np.tile(season.flowers, (PACKETS, 1))
    luck, warmth = season.rng(3), growers.waiting_c
    played = simulation.pollinate(luck, pair, lives, delivered, age, flowers, DOSES, warmth)
    return PACKETS * played.capsules


# The plan of a season is the most costly: it is made once for all policies.
@cache
def _drawn_once(seed: int, number: int, known_by: tuple[str, ...]) -> Season:
    return draw_season(seed, number, known_by)


def draw_season(seed: int, number: int, known_by: tuple[str, ...] = KNOWN_BY) -> Season:
    """The truth of one pair in one season."""
    rng = np.random.default_rng([seed, number])
    giver, taker = PAIRS[number]
    window = recipient_window(taker, known_by[(number + seed) % len(known_by)], FIRST_YEAR + seed)
    today = window.origin + timedelta(days=round(window.start_mean) - int(rng.integers(*LEAD_DAYS)))
    offered = offer(lot=lot(int(rng.integers(*STORED_DAYS))), doses=DOSES)
    taken = wanted(flowers=DOSES, bloom=bloom(window, seed=int(rng.integers(2**32))))
    pair = Instance(offered, taken, way(giver, taker, today), today)
    flowers = simulation.poisson_flowers(rng, window, (today - window.origin).days, SPAN_DAYS, 1)[0]
    bud = simulation.buds_reported(rng, flowers[None])[0]
    return Season(pair, flowers, bud, (seed, number))


def way(giver: int, taker: int, today: date) -> Lane:
    """The engine's lane between two of the growers, on which no parcel has been seen yet."""
    sent = Offer(posts_on_saturday=False, packing=PackingPreset.COLD_BOX, collected_before_cut_off=True)
    return lane(sent, _site(giver), _site(taker), today, LaneSeen())


def _site(grower: int) -> Site:
    country, latitude, longitude = PLACES[grower]
    return Site(cell_country=country, cell_latitude_deg=latitude, cell_longitude_deg=longitude)


def recipient_window(taker: int, known_by: str, year: int) -> BloomWindow:
    """The engine's forecast of a season; the usual one of every plant is that of its climate."""
    _, latitude, longitude = PLACES[taker]
    climate = climate_of(latitude, longitude).monthly_mean_c
    setting = PlantSetting("hardy", "day", latitude, climate, "outdoor", CROWNS)
    new_year = date(year, 1, 1)
    usual = forecast(BloomFacts(), setting, new_year)
    assert usual is not None
    if known_by == "exactly":
        return replace(usual, start_sd=0.0, end_sd=0.0, flowering_chance=1.0)
    if known_by == "hemisphere":
        setting = replace(setting, monthly_mean_c=None)
    first, last = (usual.origin + timedelta(days=round(day)) for day in (usual.start_mean, usual.end_mean))
    records = _records(first, last)
    if known_by == "similar plants":
        setting = replace(setting, similar=records)
    facts = BloomFacts(records=records) if known_by == "records" else _said(known_by, first, last)
    known = forecast(facts, setting, new_year)
    assert known is not None
    return known


def _records(first: date, last: date) -> tuple[SeasonRecord, ...]:
    """Three years before."""
    years = enumerate(RECORDED_SHIFT_DAYS, start=1)
    shifts = [timedelta(days=shift - round(365.25 * ago)) for ago, shift in years]
    return tuple(SeasonRecord(first + shift, last + shift) for shift in shifts)


def _said(known_by: str, first: date, last: date) -> BloomFacts:
    """What its grower says of a plant, if anything."""
    if known_by != "said month":
        return BloomFacts()
    sure = constants.SAID_MONTH_SD_DAYS.value
    said = SaidWindow((first.month, first.day), (last.month, last.day), sure)
    return BloomFacts(said=said)
