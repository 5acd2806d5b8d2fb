"""What is known of a plant's bloom and what is forecast from it: plain data, checked when it is made."""

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_positive, check_range
from exchange.science.group import GROUPS

Basis = Literal["flower seen", "bud seen", "records", "said", "similar plants", "climate", "hemisphere"]
BudStage = Literal["under water", "at the surface", "showing colour"]
Diel = Literal["day", "night"]
Water = Literal["outdoor", "heated", "glass"]

BASES: tuple[Basis, ...] = (
    "flower seen",
    "bud seen",
    "records",
    "said",
    "similar plants",
    "climate",
    "hemisphere",
)
BUD_STAGES: tuple[BudStage, ...] = ("under water", "at the surface", "showing colour")
LONGEST_SEASON_DAYS = 366
MONTH_LENGTHS = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class BloomWindow:
    """The bloom of one plant in one season: first and last bloom, and how many flowers a day.

    Attributes
    ----------
    origin : date
        Day 0 of every number of days below; those may be negative.
    start_mean, start_sd, end_mean, end_sd : float
        First bloom S and last bloom E, normal and independent, d after ``origin``. Day number d lies in
        the window when S ≤ d ≤ E.
    rate_shape, rate_exposure_days : float
        Gamma of the new flowers per crown and day: mean ``rate_shape / rate_exposure_days``.
    crowns : int
        Crowns of the plant; they multiply the rate.
    flowering_chance : float
        Chance that the plant flowers at all in this season, 0–1; below 1 only on climate or hemisphere.
    basis : Basis
        The best kind of fact the window rests on.
    years : int
        Own recorded seasons behind it.
    start_after : float, optional
        No flower yet on this day: S is later.
    end_after : float, optional
        In flower on this day: S is not later and E is not earlier.
    weak_months : frozenset of int
        Months (1–12) with a reduced rate.
    all_year : bool
        No season: S and E are not used (0 and 365, sd 0, stand in their place).
    """

    origin: date
    start_mean: float
    start_sd: float
    end_mean: float
    end_sd: float
    rate_shape: float
    rate_exposure_days: float
    crowns: int
    flowering_chance: float
    basis: Basis
    years: int
    start_after: float | None = None
    end_after: float | None = None
    weak_months: frozenset[int] = frozenset()
    all_year: bool = False

    def __post_init__(self) -> None:
        """Refuse numbers that no plant can have."""
        check_range("start_mean", self.start_mean, -1000.0, 1000.0)
        check_range("end_mean", self.end_mean, -1000.0, 1500.0)
        check_range("start_sd", self.start_sd, 0.0, 1000.0)
        check_range("end_sd", self.end_sd, 0.0, 1000.0)
        check_positive("rate_shape", self.rate_shape)
        check_positive("rate_exposure_days", self.rate_exposure_days)
        check_range("crowns", self.crowns, 1, 10_000)
        check_range("flowering_chance", self.flowering_chance, 0.0, 1.0)
        check_choice("basis", self.basis, BASES)
        _check_months(self.weak_months)


@dataclass(frozen=True)
class SeasonRecord:
    """One recorded season: first bloom, last bloom if known, and days between visits before the first."""

    first: date
    last: date | None = None
    first_interval_days: int = 0

    def __post_init__(self) -> None:
        """Refuse a season that ends before it starts or lasts longer than a year."""
        check_range("first_interval_days", self.first_interval_days, 0, LONGEST_SEASON_DAYS)
        if self.last is None:
            return
        if self.last < self.first:
            raise ValueError(f"last is {self.last}; allowed: on or after the first bloom {self.first}.")
        if (self.last - self.first).days > LONGEST_SEASON_DAYS:
            days = (self.last - self.first).days
            raise ValueError(
                f"last is {self.last}, {days} days after first; allowed: 0 to {LONGEST_SEASON_DAYS}."
            )


@dataclass(frozen=True)
class SaidWindow:
    """Bloom as the grower says it: (month, day) of first and last bloom and how sure, sd in d (1–60)."""

    first_month_day: tuple[int, int]
    last_month_day: tuple[int, int]
    sd_days: float

    def __post_init__(self) -> None:
        """Refuse days that no calendar has."""
        check_range("sd_days", self.sd_days, 1.0, 60.0)
        for name, (month, day) in (("first", self.first_month_day), ("last", self.last_month_day)):
            check_range(f"{name} month", month, 1, 12)
            check_range(f"{name} day of month {month}", day, 1, MONTH_LENGTHS[month - 1])


@dataclass(frozen=True)
class BloomFacts:
    """Everything reported of one plant's bloom.

    Attributes
    ----------
    records : tuple of SeasonRecord
        Recorded seasons; the season that is on may be among them (without ``last``).
    said : SaidWindow, optional
        The usual window as the grower says it.
    first_seen, last_seen : date, optional
        First flower of the latest season; last flower, the season being over.
    not_yet : date, optional
        Latest day on which no flower had opened yet.
    bud_stage, bud_seen : BudStage and date, optional
        Stage of the first bud and the day it was seen.
    all_year : bool
        The grower says it flowers all year.
    weak_months : frozenset of int
        Months (1–12) with few flowers.
    flower_counts : tuple of (date, int)
        New flowers counted on watched days of the latest season, zeros included.
    """

    records: tuple[SeasonRecord, ...] = ()
    said: SaidWindow | None = None
    first_seen: date | None = None
    last_seen: date | None = None
    not_yet: date | None = None
    bud_stage: BudStage | None = None
    bud_seen: date | None = None
    all_year: bool = False
    weak_months: frozenset[int] = frozenset()
    flower_counts: tuple[tuple[date, int], ...] = ()

    def __post_init__(self) -> None:
        """Refuse facts that contradict themselves."""
        if (self.bud_stage is None) != (self.bud_seen is None):
            raise ValueError("bud_stage and bud_seen belong together; allowed: both or neither.")
        if self.bud_stage is not None:
            check_choice("bud_stage", self.bud_stage, BUD_STAGES)
        if self.first_seen is not None:
            SeasonRecord(self.first_seen, self.last_seen)
        for day, count in self.flower_counts:
            check_range(f"flower count of {day}", count, 0, 10_000)
        _check_months(self.weak_months)


@dataclass(frozen=True, eq=False)
class PlantSetting:
    """What a plant is and where it stands.

    Attributes
    ----------
    group : str
        One of ``exchange.science.group.GROUPS``.
    diel : Diel
        Opens by day or at dusk.
    latitude_deg : float
        Degrees north, -90 to 90.
    monthly_mean_c : FloatArray, optional
        (12,) normal air temperature January to December, °C; None where no climate is known.
    water : Water
        Outdoor pond, heated pond, or under glass.
    crowns : int
        Growing crowns, 1–10 000.
    similar : tuple of SeasonRecord
        Seasons of other plants of the same cultivar or group at this site.
    """

    group: str
    diel: Diel
    latitude_deg: float
    monthly_mean_c: FloatArray | None = field(repr=False)
    water: Water
    crowns: int = 1
    similar: tuple[SeasonRecord, ...] = ()

    def __post_init__(self) -> None:
        """Refuse an unknown group, a latitude off the globe and a climate that is not twelve months."""
        check_choice("group", self.group, GROUPS)
        check_choice("diel", self.diel, ("day", "night"))
        check_choice("water", self.water, ("outdoor", "heated", "glass"))
        check_range("latitude_deg", self.latitude_deg, -90.0, 90.0)
        check_range("crowns", self.crowns, 1, 10_000)
        if self.monthly_mean_c is not None:
            check_range("months in monthly_mean_c", np.shape(self.monthly_mean_c)[0], 12, 12)
            check_range("monthly_mean_c", self.monthly_mean_c, -90.0, 60.0)


def _check_months(months: frozenset[int]) -> None:
    for month in months:
        check_range("weak month", month, 1, 12)
