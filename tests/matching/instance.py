"""Invented offers, wanted crosses and lanes, plain or at random, for the tests of matching."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import RecipientFlowers, recipient_flowers
from exchange.matching.side import Bloom, CrossWanted, Lane, LotInHand, Parent, PollenOffer
from exchange.science import constants
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_scenario import bloom_scenarios
from exchange.science.business_day import ServiceCalendar
from exchange.science.parcel import DEFAULT_PACKING, UNCOOLED_PACKING
from exchange.science.transit import MAX_BUSINESS_DAYS, Transit, slower
from exchange.science.viability import Treatment

TODAY = date(2026, 6, 1)
EVERY_DAY = ServiceCalendar((True,) * 7)
WEEKDAYS = ServiceCalendar()
NORTH_C = np.array([2, 3, 7, 11, 16, 20, 23, 22, 18, 12, 6, 3], dtype=np.float64) + 5.0
SOUTH_C = np.roll(NORTH_C, 6)


@dataclass(frozen=True)
class Instance:
    """One offer, one wanted cross and the way between them on one day."""

    offer: PollenOffer
    wanted: CrossWanted
    lane: Lane
    today: date

    @property
    def flowers(self) -> RecipientFlowers | None:
        """The recipient's flowers ahead."""
        assert self.wanted.bloom is not None
        return recipient_flowers(self.wanted.bloom, self.today)

    def planned(self) -> PairPlan:
        """The engine's plan."""
        plan = plan_pair(self.offer, self.wanted, self.lane, self.today, self.flowers)
        assert isinstance(plan, PairPlan)
        return plan


def window(start: float, end: float, **changes: Any) -> BloomWindow:
    """A window in days after TODAY."""
    plain = BloomWindow(
        origin=TODAY,
        start_mean=start,
        start_sd=5.0,
        end_mean=end,
        end_sd=7.0,
        rate_shape=constants.RATE_HARDY.shape,
        rate_exposure_days=constants.RATE_HARDY.exposure_days,
        crowns=2,
        flowering_chance=1.0,
        basis="records",
        years=3,
    )
    return replace(plain, **changes)


def bloom(known: BloomWindow, seed: int = 1, count: int | None = None) -> Bloom:
    """The window with its scenarios."""
    return Bloom(known, bloom_scenarios(known, seed=seed, count=count))


def parent(name: str = "plant", **changes: Any) -> Parent:
    """A hardy day bloomer that sheds on its second and third day."""
    plain = Parent(
        key=name,
        name=name,
        clone=name,
        groups=("hardy",),
        diel="day",
        pollen_first_day=2,
        pollen_last_day=3,
        taxon="",
    )
    return replace(plain, **changes)


def transit(*shares: float, lost: float = 0.0) -> Transit:
    """Delivery after 1, 2, … business days with these chances."""
    return Transit(np.pad(np.array(shares), (0, MAX_BUSINESS_DAYS - len(shares))), lost)


def lane(**changes: Any) -> Lane:
    """Post on every weekday, two or three days under way, one parcel in a hundred lost."""
    usual = changes.pop("transit", transit(0.0, 0.6, 0.39, lost=0.01))
    plain = Lane(
        origin=WEEKDAYS,
        destination=WEEKDAYS,
        transit=usual,
        slow_transit=slower(usual),
        packing=DEFAULT_PACKING,
        ambient_c=NORTH_C,
    )
    return replace(plain, **changes)


def offer(key: str = "offer", **changes: Any) -> PollenOffer:
    """Dried pollen on request of a plant that flowers from day 20 to day 70."""
    plain = PollenOffer(
        key=key,
        parent=parent("pollen parent"),
        country="DE",
        ships_to=frozenset({"US"}),
        treatment="dried",
        doses=1,
        bloom=None if "lot" in changes else bloom(window(20.0, 70.0), seed=11),
    )
    return replace(plain, **changes)


def wanted(**changes: Any) -> CrossWanted:
    """A seed parent that flowers from day 30 to day 90."""
    plain = CrossWanted(
        key="wanted",
        parent=parent("seed parent"),
        country="US",
        flowers=1,
        bloom=bloom(window(30.0, 90.0), seed=12),
    )
    return replace(plain, **changes)


def lot(stored_days: int, treatment: Treatment = "dried") -> LotInHand:
    """A lot kept for so many days, in a freezer if it is frozen."""
    return LotInHand("freezer" if treatment == "frozen" else "refrigerator", stored_days)


def random_pair(index: int) -> Instance:
    """Pair number ``index`` of a fixed series: both hemispheres, day and night, in hand and on request."""
    rng = np.random.default_rng([2026, index])
    south = index % 4 == 1
    today = TODAY + timedelta(days=183 if south else 0)
    night = index % 5 == 2
    dose_count = 1 + index % 4
    treatment: Treatment = ("dried", "fresh", "frozen")[int(rng.integers(3))] if index % 3 == 0 else "dried"
    start = float(rng.uniform(-10.0, 40.0))
    donor = _random_window(rng, today, start)
    seed = _random_window(rng, today, start + float(rng.normal(8.0, 12.0)))
    groups = ("lotos",) if night else ("anecphya",) if index % 2 else ("hardy",)
    parents = [
        parent(name, groups=groups, diel="night" if night else "day", pollen_last_day=int(rng.integers(2, 4)))
        for name in ("pollen parent", "seed parent")
    ]
    in_hand = index % 3 == 0
    return Instance(
        offer=offer(
            parent=parents[0],
            treatment=treatment,
            doses=dose_count,
            bloom=None if in_hand else bloom(donor, seed=1000 + index),
            lot=lot(int(rng.integers(0, 25)), treatment) if in_hand else None,
        ),
        wanted=wanted(parent=parents[1], flowers=dose_count, bloom=bloom(seed, seed=2000 + index)),
        lane=_random_lane(rng, SOUTH_C if south else NORTH_C),
        today=today,
    )


def _random_window(rng: np.random.Generator, today: date, start: float) -> BloomWindow:
    length = float(rng.uniform(30.0, 110.0))
    return window(
        start,
        start + length,
        origin=today,
        start_sd=float(rng.uniform(1.0, 20.0)),
        end_sd=float(rng.uniform(5.0, 15.0)),
        rate_exposure_days=float(rng.uniform(3.0, 8.0)),
        crowns=int(rng.integers(1, 4)),
        flowering_chance=float(rng.choice([1.0, 0.85])),
    )


def _random_lane(rng: np.random.Generator, ambient_c: Any) -> Lane:
    shares = rng.dirichlet(np.full(6, 0.8)) * 0.98
    return lane(
        transit=transit(*shares, lost=1.0 - float(shares.sum())),
        packing=DEFAULT_PACKING if rng.random() < 0.7 else UNCOOLED_PACKING,
        ambient_c=ambient_c,
        customs_delay_days=int(rng.integers(0, 3)),
        collected_before_cut_off=bool(rng.random() < 0.7),
        delivery_before_opening=bool(rng.random() < 0.3),
    )
