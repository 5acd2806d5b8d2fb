"""The two sides of a pairing and the way between them, as plain data."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from exchange.science.arrays import FloatArray
from exchange.science.bloom import Basis, BloomWindow
from exchange.science.bloom_scenario import BloomScenarios
from exchange.science.business_day import ServiceCalendar
from exchange.science.packing import Packing
from exchange.science.transit import Transit
from exchange.science.viability import Treatment

Diel = Literal["day", "night"]
Fertility = Literal["yes", "poor", "no", "unknown"]
Store = Literal["refrigerator", "freezer"]


@dataclass(frozen=True)
class Parent:
    """What crossing asks of one plant: its groups, counts, fertility and the clock of its flower.

    ``groups`` holds more than one group for a plant of mixed origin. ``clone`` names the genotype, so
    that two accessions of one cultivar are known to be the same.
    """

    key: str
    name: str
    clone: str
    groups: tuple[str, ...]
    diel: Diel
    pollen_first_day: int
    pollen_last_day: int
    taxon: str
    traits: frozenset[str] = frozenset()
    chromosome_counts: tuple[int, ...] = ()
    seed_fertility: Fertility = "unknown"
    pollen_fertility: Fertility = "unknown"
    fertility_source: str = ""


@dataclass(frozen=True)
class Bloom:
    """A forecast of one plant and the scenarios drawn from it."""

    window: BloomWindow
    scenarios: BloomScenarios

    @property
    def basis(self) -> Basis:
        """What the forecast rests on."""
        return self.window.basis


@dataclass(frozen=True)
class LotInHand:
    """Pollen that exists: where it is kept, and for how many days since it was dried or collected."""

    store: Store
    stored_days: int


@dataclass(frozen=True)
class PollenOffer:
    """What a grower gives: on request (then ``bloom`` is its plant's) or in hand (then ``lot`` is)."""

    key: str
    parent: Parent
    country: str
    ships_to: frozenset[str]
    treatment: Treatment
    doses: int
    doses_per_flower: int = 1
    bloom: Bloom | None = None
    lot: LotInHand | None = None


@dataclass(frozen=True)
class CrossWanted:
    """A seed parent with its bloom, and the pollen parents its grower would take.

    Empty ``clones``, ``taxa``, ``groups`` and ``traits`` ask for nothing in particular.
    """

    key: str
    parent: Parent
    country: str
    flowers: int
    bloom: Bloom | None
    clones: frozenset[str] = frozenset()
    taxa: frozenset[str] = frozenset()
    groups: frozenset[str] = frozenset()
    traits: frozenset[str] = frozenset()
    least_chance: float = 0.001


@dataclass(frozen=True)
class Lane:
    """The way of a parcel: calendars of both ends, how long it takes, how warm it gets.

    ``ambient_c`` is the air round the parcel for each month of dispatch, January first;
    ``delivery_before_opening`` says that parcels reach the recipient before the seed parent opens. Of
    ``customs_delay_days`` the pollen lies ``handling_days`` in the refrigerator of a grower in between;
    ``post_from`` and ``post_until`` bound the days on which it may be posted, where somebody bounds them.
    """

    origin: ServiceCalendar
    destination: ServiceCalendar
    transit: Transit
    slow_transit: Transit
    packing: Packing
    ambient_c: FloatArray
    customs_delay_days: int = 0
    collected_before_cut_off: bool = True
    delivery_before_opening: bool = False
    handling_days: int = 0
    post_from: date | None = None
    post_until: date | None = None
