"""Seasons of five growers, each of whom gives to the next: a packet posted by forecast, or at the bud call.

One seed is one season: each recipient's true bloom, flowers, buds and looks at the pond are drawn once,
from the engine's own forecast. The pollen's life, the compatibility and the parcel are drawn anew for each
packet. Whatever day a donor posts on, all draws but the luck of single pollinations stay the same.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from exchange.matching import posting
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.side import Lane
from exchange.models import Offer
from exchange.models.offer import PackingPreset
from exchange.science import constants
from exchange.science.arrays import BoolArray, IntegerArray
from exchange.science.bloom import BloomFacts, BloomWindow, PlantSetting, SaidWindow, SeasonRecord
from exchange.science.bloom_chain import BUD_LAG, forecast
from exchange.science.business_day import next_open_day
from exchange.science.climate import climate_of
from exchange.science.season_statistic import truncated_normal_quantile
from exchange.selectors.lane import lane
from exchange.selectors.lane_seen import LaneSeen
from growers.models import Site
from tests.matching import simulation
from tests.matching.instance import Instance, bloom, lot, offer, wanted
from tests.matching.simulation import NEVER, Posted

# Judgement, all of these: five hardy water lilies in outdoor ponds, each sent to the next country.
PLACES = (("DE", 52.5, 9.5), ("FR", 43.5, 1.5), ("IT", 41.0, 14.5), ("US", 36.0, -79.0), ("JP", 34.5, 135.5))
KNOWN_BY = ("climate", "said month", "said date", "records")
PACKETS, DOSES, CROWNS = 200, 4, 2
LEAD_DAYS = (14, 43)
"""Days from the agreement to the first flower forecast, lowest and one past the highest."""
STORED_DAYS = (1, 21)
LOOK_CHANCE = 0.7
"""That a grower looks at the pond on a day and reports a bud if there is one."""
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
class Ring:
    """What is known of each recipient's bloom, by turns, and how warm the recipients keep a packet."""

    known_by: tuple[str, ...] = KNOWN_BY
    waiting_c: float = constants.STORE_TEMPERATURE_C.value


Policy = Callable[[Season], int]
"""The day after today on which the donor posts, NEVER if not at all."""
USUAL = Ring()


def by_forecast(season: Season) -> int:
    """The best day of the engine's plan for the lot, made when the two agree."""
    pair = season.pair
    plan = plan_pair(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    assert isinstance(plan, PairPlan)
    assert plan.dates is not None
    return (plan.dates.post_on - pair.today).days


def by_bud_call(season: Season) -> int:
    """The next open day after the first report of a bud at the surface, as the service tells the donor."""
    if not season.bud.any():
        return NEVER
    reported = season.pair.today + timedelta(days=int(season.bud.argmax()))
    post_on = next_open_day(season.pair.lane.origin, reported + timedelta(days=1))
    return (post_on - season.pair.today).days


def play(seed: int, policy: Policy, ring: Ring = USUAL) -> Harvest:
    """One season of all five growers under a policy."""
    seasons = [draw_season(seed, giver, ring) for giver in range(len(PLACES))]
    days = [policy(season) for season in seasons]
    each = (capsules_of(season, day, ring) for season, day in zip(seasons, days, strict=True))
    doses = PACKETS * DOSES
    return Harvest(sum(each), doses * sum(day != NEVER for day in days), doses * len(days))


def capsules_of(season: Season, day: int, ring: Ring = USUAL) -> float:
    """Capsules from all packets of a pair, posted on a day."""
    pair, in_hand = season.pair, season.pair.offer.lot
    assert in_hand is not None
    posted = Posted(np.full(PACKETS, day), np.full(PACKETS, in_hand.stored_days + day))
    lives = simulation.draw_pollen(season.rng(1), pair, PACKETS)
    delivered = simulation.deliver(season.rng(2), pair, posted.day)
    age = simulation.age_on_arrival(pair, lives, posted, delivered)
    flowers = np.tile(season.flowers, (PACKETS, 1))
    luck, warmth = season.rng(3), ring.waiting_c
    played = simulation.pollinate(luck, pair, lives, delivered, age, flowers, DOSES, warmth)
    return PACKETS * played.capsules


def draw_season(seed: int, giver: int, ring: Ring = USUAL) -> Season:
    """The truth of one pair in one season."""
    rng = np.random.default_rng([seed, giver])
    taker = (giver + 1) % len(PLACES)
    known_by = ring.known_by[(taker + seed) % len(ring.known_by)]
    window = recipient_window(taker, known_by, FIRST_YEAR + seed)
    today = window.origin + timedelta(days=round(window.start_mean) - int(rng.integers(*LEAD_DAYS)))
    offered = offer(lot=lot(int(rng.integers(*STORED_DAYS))), doses=DOSES)
    taken = wanted(flowers=DOSES, bloom=bloom(window, seed=int(rng.integers(2**32))))
    pair = Instance(offered, taken, way(giver, taker, today), today)
    flowers = simulation.poisson_flowers(rng, window, (today - window.origin).days, SPAN_DAYS, 1)[0]
    return Season(pair, flowers, _buds(rng, flowers), (seed, giver))


def _buds(rng: np.random.Generator, flowers: IntegerArray) -> BoolArray:
    """Days on which the recipient looks and the bud of some flower is at the surface."""
    lag = float(truncated_normal_quantile(rng.random(1), BUD_LAG["at the surface"], low=0.0)[0])
    bud = np.zeros(flowers.size, np.bool_)
    for ahead in range(1, int(np.ceil(lag)) + 1):
        bud[:-ahead] |= flowers[ahead:] > 0
    looked: BoolArray = rng.random(flowers.size) < LOOK_CHANCE
    return bud & looked


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
    known = forecast(_facts(known_by, first, last), setting, new_year)
    assert known is not None
    return known


def _facts(known_by: str, first: date, last: date) -> BloomFacts:
    """What growers told of a plant, from records of three years to nothing at all."""
    if known_by == "records":
        years = enumerate(RECORDED_SHIFT_DAYS, start=1)
        shifts = [timedelta(days=shift - round(365.25 * ago)) for ago, shift in years]
        return BloomFacts(records=tuple(SeasonRecord(first + shift, last + shift) for shift in shifts))
    sure = {"said month": constants.SAID_MONTH_SD_DAYS, "said date": constants.SAID_DATE_SD_DAYS}
    if known_by not in sure:
        return BloomFacts()
    said = SaidWindow((first.month, first.day), (last.month, last.day), sure[known_by].value)
    return BloomFacts(said=said)
