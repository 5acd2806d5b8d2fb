"""The usual season of a plant, before anything of this season is known: the lower links of the chain.

Worst to best: hemisphere or climate, similar plants at the site, what the grower said, own records. A
better link replaces a worse one, except that records are shrunk toward what lies below them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import hypot
from typing import Literal

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.bloom import Basis, PlantSetting, SaidWindow, SeasonRecord
from exchange.science.climate_season import climate_season
from exchange.science.season_statistic import (
    COMMON_YEAR_DAYS,
    Normal,
    circular_summary,
    common_day_of_year,
    has_season,
    interval_sd_days,
    nearest_turn,
    prior_of_mean,
    shrink,
    southern_day_of_year,
)

NoForecastReason = Literal["ask_under_glass", "ask_heated", "ask_tropical_site", "no_outdoor_bloom"]


@dataclass(frozen=True)
class SeasonOutline:
    """First and last bloom of a usual season.

    Attributes
    ----------
    start, end : Normal
        Day of a 365-day year, sd in d; the end may lie beyond 365 where the season crosses New Year.
    basis : Basis
        Best fact behind it.
    years : int
        Own recorded seasons behind it.
    flowering_chance : float
        Chance of any bloom in a season, 0–1.
    all_year : bool
        No season; ``start`` and ``end`` are then not used.
    only_year : int, optional
        The outline rests on one observation and says nothing of other years.
    """

    start: Normal
    end: Normal
    basis: Basis
    years: int = 0
    flowering_chance: float = 1.0
    all_year: bool = False
    only_year: int | None = None


def all_year_outline(basis: Basis, *, years: int = 0, flowering_chance: float = 1.0) -> SeasonOutline:
    """Outline of a plant that has no season."""
    whole = Normal(1.0, 0.0), Normal(float(COMMON_YEAR_DAYS), 0.0)
    return SeasonOutline(*whole, basis, years, flowering_chance, all_year=True)


def prior_outline(said: SaidWindow | None, setting: PlantSetting) -> SeasonOutline | None:
    """Give the usual season without own records, or None where there is nothing to go by.

    Parameters
    ----------
    said : SaidWindow, optional
        What the grower said; it replaces everything below it.
    setting : PlantSetting
        Group, place, water and similar plants.

    Returns
    -------
    SeasonOutline or None
        None: see ``no_outline_reason``.
    """
    if said is not None:
        return _said_outline(said)
    below = _place_outline(setting)
    if not setting.similar:
        return below
    spread = hypot(constants.PLANT_SD_DAYS.value, constants.YEAR_SD_DAYS.value)
    return _from_records(setting.similar, below, basis="similar plants", year_sd=spread)


def recorded_outline(records: Sequence[SeasonRecord], prior: SeasonOutline | None) -> SeasonOutline | None:
    """Shrink a plant's own recorded seasons toward what else is known.

    Parameters
    ----------
    records : sequence of SeasonRecord
        Seasons of this plant, any order; empty gives the prior back.
    prior : SeasonOutline, optional
        The next best link; None is a flat prior.

    Returns
    -------
    SeasonOutline or None
        All year where first blooms have no season (R below 0.5), or where the climate has none and no
        record tells an end.
    """
    if not records:
        return prior
    return _from_records(records, prior, basis="records", year_sd=constants.YEAR_SD_DAYS.value)


def outline_from_day(day: date, *, lag_days: float, sd_days: float, basis: Basis) -> SeasonOutline:
    """Outline of one year round an observation, where nothing else is known; length as by hemisphere."""
    start = common_day_of_year(day) + lag_days
    return SeasonOutline(Normal(start, sd_days), _unknown_end(start), basis, only_year=day.year)


def no_outline_reason(setting: PlantSetting) -> NoForecastReason:
    """Say why a plant without a word from its grower has no forecast: ask, or expect no bloom."""
    if setting.water == "glass":
        return "ask_under_glass"
    if setting.water == "heated":
        return "ask_heated"
    return "ask_tropical_site" if setting.monthly_mean_c is None else "no_outdoor_bloom"


def _unknown_end(start_day: float) -> Normal:
    spread = hypot(constants.HEMISPHERE_SD_DAYS.value, constants.HEMISPHERE_SD_DAYS.value)
    return Normal(start_day + constants.UNKNOWN_SEASON_LENGTH_DAYS.value, spread)


def _season(first: float, last: float, sd_days: float, basis: Basis, chance: float = 1.0) -> SeasonOutline:
    end = first + (last - first) % COMMON_YEAR_DAYS
    return SeasonOutline(Normal(first, sd_days), Normal(end, sd_days), basis, flowering_chance=chance)


def _said_outline(said: SaidWindow) -> SeasonOutline:
    # 2000 is a leap year: a grower may well say 29 February.
    first, last = (
        common_day_of_year(date(2000, *month_day))
        for month_day in (said.first_month_day, said.last_month_day)
    )
    return _season(first, last, said.sd_days, "said")


def _place_outline(setting: PlantSetting) -> SeasonOutline | None:
    if setting.water != "outdoor":
        return None
    if setting.monthly_mean_c is None:
        return _hemisphere_outline(setting)
    return _climate_outline(setting.monthly_mean_c, setting)


def _climate_outline(monthly_mean_c: FloatArray, setting: PlantSetting) -> SeasonOutline | None:
    season = climate_season(monthly_mean_c, setting.group, setting.latitude_deg)
    chance = constants.FLOWERING_CHANCE_CLIMATE.value
    if season.kind == "none":
        return None
    if season.kind == "all year":
        return all_year_outline("climate", flowering_chance=chance)
    first, last = season.first_day_of_year, season.last_day_of_year
    return _season(first, last, constants.CLIMATE_SD_DAYS.value, "climate", chance)


def _hemisphere_outline(setting: PlantSetting) -> SeasonOutline | None:
    if abs(setting.latitude_deg) < constants.TROPIC_LATITUDE_DEG.value:
        return None
    days = (constants.HEMISPHERE_TROPICAL_FIRST_DAY.value, constants.HEMISPHERE_TROPICAL_LAST_DAY.value)
    if setting.group == "hardy":
        days = (constants.HEMISPHERE_HARDY_FIRST_DAY.value, constants.HEMISPHERE_HARDY_LAST_DAY.value)
    if setting.latitude_deg < 0.0:
        days = (southern_day_of_year(days[0]), southern_day_of_year(days[1]))
    chance = constants.FLOWERING_CHANCE_HEMISPHERE.value
    return _season(*days, constants.HEMISPHERE_SD_DAYS.value, "hemisphere", chance)


def _from_records(
    records: Sequence[SeasonRecord], prior: SeasonOutline | None, *, basis: Basis, year_sd: float
) -> SeasonOutline:
    years = len(records) if basis == "records" else 0
    firsts = [common_day_of_year(record.first) for record in records]
    closed = any(record.last is not None for record in records)
    endless = prior is not None and prior.all_year
    if not has_season(firsts) or (endless and not closed):
        return all_year_outline(basis, years=years)
    turned = None if prior is None or prior.all_year else _turned(prior, circular_summary(firsts).mean_day)
    start = _recorded_start(records, turned, year_sd)
    return SeasonOutline(start, _recorded_end(records, turned, start, year_sd), basis, years)


def _turned(outline: SeasonOutline, centre: float) -> SeasonOutline:
    """Move an outline by whole years so that its start lies nearest to the records' mean first bloom."""
    shift = nearest_turn(outline.start.mean, centre) - outline.start.mean
    start = Normal(outline.start.mean + shift, outline.start.sd)
    return SeasonOutline(start, Normal(outline.end.mean + shift, outline.end.sd), outline.basis)


def _unwrapped_firsts(records: Sequence[SeasonRecord]) -> list[float]:
    firsts = [common_day_of_year(record.first) for record in records]
    centre = circular_summary(firsts).mean_day
    return [nearest_turn(first, centre) for first in firsts]


def _recorded_start(records: Sequence[SeasonRecord], prior: SeasonOutline | None, year_sd: float) -> Normal:
    # A first bloom seen on a visit lies, on average, half the time between visits before it.
    days = [
        first - record.first_interval_days / 2.0
        for first, record in zip(_unwrapped_firsts(records), records, strict=True)
    ]
    reading = [interval_sd_days(record.first_interval_days) for record in records]
    below = None if prior is None else prior_of_mean(prior.start, year_sd=year_sd)
    return shrink(below, days, year_sd=year_sd, observation_sd=reading)


def _recorded_end(
    records: Sequence[SeasonRecord], prior: SeasonOutline | None, start: Normal, year_sd: float
) -> Normal:
    days = [
        first + (record.last - record.first).days
        for first, record in zip(_unwrapped_firsts(records), records, strict=True)
        if record.last is not None
    ]
    if days:
        below = None if prior is None else prior_of_mean(prior.end, year_sd=year_sd)
        return shrink(below, days, year_sd=year_sd)
    if prior is None:
        return _unknown_end(start.mean)
    return Normal(start.mean + prior.end.mean - prior.start.mean, max(prior.end.sd, start.sd))
