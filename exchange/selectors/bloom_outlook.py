"""The bloom forecast of one plant as its owner reads it: a window with its range, and chances day by day."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from exchange.matching.side import Bloom
from exchange.science.arrays import FloatArray
from exchange.science.bloom_scenario import daily_rate, window_interval
from exchange.selectors.bloom_forecast import blooms
from growers.models import Plant
from growers.selectors.taxon import group_taxon

DIGITS = 4


@dataclass(frozen=True)
class DateRange:
    """A day that is not earlier than ``low`` and not later than ``high`` with 90 % each; all civil dates."""

    estimate: date
    low: date
    high: date


@dataclass(frozen=True)
class DayChance:
    """One day: chance of a first-day flower, chance of a flower that sheds pollen, first-day flowers."""

    day: date
    receptive_chance: float
    pollen_chance: float
    first_day_flowers: float


@dataclass(frozen=True)
class BloomOutlook:
    """A forecast with what it rests on; without a season (all year) there is no first and last bloom."""

    today: date
    basis: str
    recorded_seasons: int
    flowering_chance: float
    all_year: bool
    first_bloom: DateRange | None
    last_bloom: DateRange | None
    days: tuple[DayChance, ...]


def bloom_outlook(plant: Plant, *, today: date, days: int) -> BloomOutlook | None:
    """The outlook from ``today``; None where nothing is known and nothing can be assumed.

    ``plant`` comes with ``site`` and ``taxon`` joined. Flowers shed pollen on the days of the taxon's
    clock, or else its group's; ``Conflict`` while the reference tables are not loaded.
    """
    bloom = blooms([plant], today)[plant.pk]
    if bloom is None:
        return None
    clock = plant.taxon or group_taxon(plant.group)
    window, interval = bloom.window, window_interval(bloom.window)
    return BloomOutlook(
        today=today,
        basis=bloom.basis,
        recorded_seasons=window.years,
        flowering_chance=round(window.flowering_chance, DIGITS),
        all_year=window.all_year,
        first_bloom=DateRange(interval.start_50, interval.start_10, interval.start_90) if interval else None,
        last_bloom=DateRange(interval.end_50, interval.end_10, interval.end_90) if interval else None,
        days=_days(bloom, (clock.pollen_first_day, clock.pollen_last_day), today, days),
    )


def _days(bloom: Bloom, pollen_days: tuple[int, int], today: date, days: int) -> tuple[DayChance, ...]:
    """Chances are means over scenarios: one mean rate put into 1 − exp(−rate) would overstate them."""
    first, last = pollen_days
    before = max(last - 1, 0)
    after = max(1 - first, 0)
    rate = daily_rate(bloom.scenarios, today - timedelta(days=before), before + days + after)
    new = rate[:, before : before + days]
    shedding = _shedding(rate, before, days, range(first - 1, last))
    receptive_chance, pollen_chance = _chance(new), _chance(shedding)
    return tuple(
        DayChance(today + timedelta(days=number), *(round(float(value), DIGITS) for value in values))
        for number, values in enumerate(zip(receptive_chance, pollen_chance, new.mean(axis=0), strict=True))
    )


def _shedding(rate: FloatArray, before: int, days: int, lags: range) -> FloatArray:
    """Expected flowers that shed on each day: those that opened ``lag`` days ago."""
    slices = [rate[:, before - lag : before - lag + days] for lag in lags]
    return np.asarray(np.sum(slices, axis=0), dtype=np.float64)


def _chance(rate: FloatArray) -> FloatArray:
    return np.asarray((-np.expm1(-rate)).mean(axis=0), dtype=np.float64)
