"""The forecast of one plant's bloom: the best facts there are, conditioned on what was seen this season.

Best first: flower seen, bud seen, own records (shrunk toward the next best), said by the grower, similar
plants, climate, hemisphere. The last four and the records make an outline of a usual season
(``bloom_outline``); here it is placed in a year and this season's facts are laid over it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scipy import special

from exchange.science import constants
from exchange.science.bloom import Basis, BloomFacts, BloomWindow, BudStage, PlantSetting, SeasonRecord
from exchange.science.bloom_outline import (
    NoForecastReason,
    SeasonOutline,
    all_year_outline,
    no_outline_reason,
    outline_from_day,
    prior_outline,
    recorded_outline,
)
from exchange.science.bloom_scenario import window_interval
from exchange.science.flower import rate_prior, updated_rate
from exchange.science.season_statistic import (
    COMMON_YEAR_DAYS,
    Normal,
    common_date,
    common_ordinal,
    interval_sd_days,
    nearest_turn,
)

BUD_LAG: dict[BudStage, Normal] = {
    "under water": Normal(
        constants.BUD_UNDER_WATER_LAG_DAYS.value, constants.BUD_UNDER_WATER_LAG_SD_DAYS.value
    ),
    "at the surface": Normal(
        constants.BUD_AT_SURFACE_LAG_DAYS.value, constants.BUD_AT_SURFACE_LAG_SD_DAYS.value
    ),
    "showing colour": Normal(
        constants.BUD_SHOWING_COLOUR_LAG_DAYS.value, constants.BUD_SHOWING_COLOUR_LAG_SD_DAYS.value
    ),
}


@dataclass(frozen=True)
class _Season:
    """What was seen in one season: dates, all optional, and counts from the first flower on."""

    first: SeasonRecord | None
    in_flower: date | None
    over: date | None
    bud: tuple[date, Normal] | None
    not_yet: date | None
    counts: tuple[int, ...]


def forecast(facts: BloomFacts, setting: PlantSetting, today: date) -> BloomWindow | None:
    """Forecast the season that is on, or else the next one.

    Parameters
    ----------
    facts : BloomFacts
        Everything reported of this plant.
    setting : PlantSetting
        What it is and where it stands.
    today : date
        Local date at the plant's place; no fact may be later.

    Returns
    -------
    BloomWindow or None
        None where no forecast is possible; ``why_no_forecast`` gives the reason.

    Raises
    ------
    ValueError
        If a fact is dated after ``today``.

    Notes
    -----
    A season counts as on until its last bloom has passed with 90 % chance and the last flower has shed.
    First bloom seen replaces S (sd 1 d, or D/√12 for visits D apart); "not yet" cuts S; last bloom seen
    replaces E; a bud puts S its stage's lag later (judgement); counts update the Gamma of the rate.
    """
    _check_dates(facts, today)
    seasons = _seasons(facts)
    prior = prior_outline(facts.said, setting)
    outline = _outline(facts, seasons, prior)
    if outline is None:
        return None
    if outline.all_year:
        return _all_year_window(outline, facts, setting, today)
    years = range(today.year - 2, today.year + 3)
    for year in years if outline.only_year is None else (outline.only_year,):
        window = _season_window(year, outline, prior, seasons, facts, setting)
        if _is_on_or_ahead(window, today):
            return window
    return None


def why_no_forecast(facts: BloomFacts, setting: PlantSetting, today: date) -> NoForecastReason | None:
    """Give the code of the reason why ``forecast`` returns None, or None where it returns a window.

    ``ask_under_glass``, ``ask_heated``: nothing said, and climate does not reach there.
    ``ask_tropical_site``: no climate known and no season by hemisphere. ``no_outdoor_bloom``: the water
    does not get warm enough for this group.
    """
    return None if forecast(facts, setting, today) is not None else no_outline_reason(setting)


def _check_dates(facts: BloomFacts, today: date) -> None:
    dated = [(name, getattr(facts, name)) for name in ("first_seen", "last_seen", "not_yet", "bud_seen")]
    dated += [("date of a flower count", day) for day, _ in facts.flower_counts]
    for record in facts.records:
        dated += [("first of a season record", record.first), ("last of a season record", record.last)]
    for name, day in dated:
        if day is not None and day > today:
            raise ValueError(f"{name} is {day}, after today {today}; allowed: up to today.")


def _seasons(facts: BloomFacts) -> tuple[SeasonRecord, ...]:
    """All recorded seasons, the latest one with what was seen of it."""
    if facts.first_seen is None:
        return facts.records
    same = [record for record in facts.records if record.first == facts.first_seen]
    others = tuple(record for record in facts.records if record.first != facts.first_seen)
    interval = max((record.first_interval_days for record in same), default=0)
    last = max((day for day in (*(r.last for r in same), facts.last_seen) if day is not None), default=None)
    return (*others, SeasonRecord(facts.first_seen, last, interval))


def _outline(
    facts: BloomFacts, seasons: Sequence[SeasonRecord], prior: SeasonOutline | None
) -> SeasonOutline | None:
    if facts.all_year:
        return all_year_outline("said", years=len(seasons))
    outline = recorded_outline(seasons, prior)
    if outline is not None:
        return outline
    flowers = [day for day, count in facts.flower_counts if count > 0]
    if flowers:
        seen = constants.SEEN_SD_DAYS.value
        return outline_from_day(min(flowers), lag_days=0.0, sd_days=seen, basis="flower seen")
    if facts.bud_seen is None or facts.bud_stage is None:
        return None
    lag = BUD_LAG[facts.bud_stage]
    return outline_from_day(facts.bud_seen, lag_days=lag.mean, sd_days=lag.sd, basis="bud seen")


def _all_year_window(
    outline: SeasonOutline, facts: BloomFacts, setting: PlantSetting, today: date
) -> BloomWindow:
    year_ago = today - timedelta(days=COMMON_YEAR_DAYS)
    flowers = [day for day, count in facts.flower_counts if count > 0]
    flowers += [day for day in (facts.first_seen, facts.last_seen) if day is not None]
    basis: Basis = outline.basis
    if facts.bud_seen is not None and facts.bud_seen > year_ago:
        basis = "bud seen"
    if any(day > year_ago for day in flowers):
        basis = "flower seen"
    counts = [count for day, count in facts.flower_counts if day > year_ago]
    shape, exposure = _rate(setting, counts)
    return BloomWindow(
        origin=date(today.year, 1, 1),
        start_mean=0.0,
        start_sd=0.0,
        end_mean=float(COMMON_YEAR_DAYS),
        end_sd=0.0,
        rate_shape=shape,
        rate_exposure_days=exposure,
        crowns=setting.crowns,
        flowering_chance=1.0 if basis in ("flower seen", "bud seen") else outline.flowering_chance,
        basis=basis,
        years=outline.years,
        weak_months=facts.weak_months,
        all_year=True,
    )


def _season_window(
    year: int,
    outline: SeasonOutline,
    prior: SeasonOutline | None,
    seasons: Sequence[SeasonRecord],
    facts: BloomFacts,
    setting: PlantSetting,
) -> BloomWindow:
    """Place the usual season in a year and lay over it what was seen in that season."""
    span = _span(outline, year)
    own = [record for record in seasons if record.first in span]
    base = outline
    if own:
        # A season does not forecast itself: its own record is a fact, the others are the forecast.
        history = [record for record in seasons if record not in own]
        base = _same_turn(recorded_outline(history, prior), outline, own[0])
    season = _this_season(span, own, facts)
    origin = common_date(COMMON_YEAR_DAYS * year + round(base.start.mean))
    start = _start(season, base, year, origin)
    end = _end(season, base, year, origin, start)
    shape, exposure = _rate(setting, season.counts)
    start_after, end_after = _start_after(season, origin), _days_after(origin, season.in_flower)
    return BloomWindow(
        origin=origin,
        start_mean=start.mean,
        start_sd=start.sd,
        end_mean=end.mean,
        end_sd=end.sd,
        rate_shape=shape,
        rate_exposure_days=exposure,
        crowns=setting.crowns,
        flowering_chance=_flowering_chance(season, base, start, start_after),
        basis=_basis(season, base),
        years=base.years,
        start_after=start_after,
        end_after=end_after,
        weak_months=facts.weak_months,
    )


class _Span:
    """Days from the middle of one rest to the middle of the next: all that belongs to one season."""

    def __init__(self, first: int, last: int) -> None:
        self.first, self.last = first, last

    def __contains__(self, day: date) -> bool:
        return self.first <= common_ordinal(day) < self.last


def _span(outline: SeasonOutline, year: int) -> _Span:
    length = min(max(outline.end.mean - outline.start.mean, 0.0), float(COMMON_YEAR_DAYS))
    rest = COMMON_YEAR_DAYS - length
    first = COMMON_YEAR_DAYS * year + math.floor(outline.start.mean - rest / 2.0)
    return _Span(first, first + COMMON_YEAR_DAYS)


def _same_turn(base: SeasonOutline | None, outline: SeasonOutline, own: SeasonRecord) -> SeasonOutline:
    """Bring an outline made without this season's record into the same year as the one made with it."""
    if base is None or base.all_year:
        base = outline_from_day(
            own.first, lag_days=0.0, sd_days=constants.SEEN_SD_DAYS.value, basis="flower seen"
        )
    shift = nearest_turn(base.start.mean, outline.start.mean) - base.start.mean
    start, end = Normal(base.start.mean + shift, base.start.sd), Normal(base.end.mean + shift, base.end.sd)
    return SeasonOutline(start, end, base.basis, base.years, base.flowering_chance)


def _this_season(span: _Span, own: Sequence[SeasonRecord], facts: BloomFacts) -> _Season:
    first = min(own, key=lambda record: record.first, default=None)
    counted = [(day, count) for day, count in facts.flower_counts if day in span]
    flowers = [day for day, count in counted if count > 0] + [record.first for record in own]
    bud = _bud(span, facts)
    over = _over(span, own, facts, flowers if bud is None else [*flowers, bud[0]])
    in_flower = max(flowers, default=None)
    opened = min(flowers, default=date.max)
    watched = tuple(count for day, count in counted if opened <= day <= (over or date.max))
    not_yet = facts.not_yet if facts.not_yet is not None and facts.not_yet in span else None
    return _Season(first, in_flower, over, bud, not_yet, watched)


def _over(
    span: _Span, own: Sequence[SeasonRecord], facts: BloomFacts, signs_of_bloom: Sequence[date]
) -> date | None:
    """Last bloom of a season declared over; a flower or bud of it seen later reopens it."""
    lasts = [record.last for record in own if record.last is not None]
    if len(lasts) < len(own):
        lasts = []
    if facts.last_seen is not None and facts.last_seen in span:
        lasts.append(facts.last_seen)
    last = max(lasts, default=None)
    return None if last is None or any(day > last for day in signs_of_bloom) else last


def _bud(span: _Span, facts: BloomFacts) -> tuple[date, Normal] | None:
    if facts.bud_seen is None or facts.bud_stage is None:
        return None
    lag = BUD_LAG[facts.bud_stage]
    opens = facts.bud_seen + timedelta(days=round(lag.mean))
    return (facts.bud_seen, lag) if opens in span else None


def _days_after(origin: date, day: date | None) -> float | None:
    return None if day is None else float((day - origin).days)


def _placed(normal: Normal, year: int, origin: date) -> Normal:
    """Days after ``origin`` of a day of the 365-day year, through the real calendar and its leap days."""
    whole = math.floor(normal.mean)
    day = common_date(COMMON_YEAR_DAYS * year + whole)
    return Normal((day - origin).days + normal.mean - whole, normal.sd)


def _start(season: _Season, base: SeasonOutline, year: int, origin: date) -> Normal:
    if season.first is not None:
        interval = season.first.first_interval_days
        sd = max(interval_sd_days(interval), constants.SEEN_SD_DAYS.value)
        return Normal((season.first.first - origin).days - interval / 2.0, sd)
    if season.bud is not None:
        day, lag = season.bud
        return Normal((day - origin).days + lag.mean, lag.sd)
    return _placed(base.start, year, origin)


def _end(season: _Season, base: SeasonOutline, year: int, origin: date, start: Normal) -> Normal:
    if season.over is not None:
        return Normal(float((season.over - origin).days), constants.SEEN_SD_DAYS.value)
    end = _placed(base.end, year, origin)
    # A bud or flower later than the usual end is the start of some bloom, not of none.
    latest = [end.mean]
    if season.first is not None or season.bud is not None:
        latest.append(start.mean + constants.SHORTEST_SEASON_DAYS.value)
    if season.bud is not None:
        latest.append((season.bud[0] - origin).days + season.bud[1].mean)
    return Normal(max(latest), end.sd)


def _start_after(season: _Season, origin: date) -> float | None:
    days = [season.not_yet, season.bud[0] if season.bud is not None and season.first is None else None]
    known = [day for day in days if day is not None]
    limit = season.first.first if season.first is not None else season.in_flower
    if limit is not None:
        known = [day for day in known if day < limit]
    return _days_after(origin, max(known, default=None))


def _flowering_chance(
    season: _Season, base: SeasonOutline, start: Normal, start_after: float | None
) -> float:
    """Chance of any bloom; where it is in doubt, every day without a flower makes it less likely."""
    if season.in_flower is not None or season.bud is not None or season.over is not None:
        return 1.0
    if start_after is None:
        return base.flowering_chance
    later = base.flowering_chance * float(special.ndtr((start.mean - start_after) / start.sd))
    return later / (later + 1.0 - base.flowering_chance) if base.flowering_chance < 1.0 else 1.0


def _basis(season: _Season, base: SeasonOutline) -> Basis:
    if season.in_flower is not None or season.over is not None:
        return "flower seen"
    return "bud seen" if season.bud is not None else base.basis


def _rate(setting: PlantSetting, counts: Sequence[int]) -> tuple[float, float]:
    prior = rate_prior(setting.group, setting.diel)
    return updated_rate(prior, flowers=sum(counts), crown_days=float(len(counts) * setting.crowns))


def _is_on_or_ahead(window: BloomWindow, today: date) -> bool:
    interval = window_interval(window)
    shed = timedelta(days=round(constants.FLOWER_DAYS_MAXIMUM.value) - 1)
    return interval is None or interval.end_90 + shed >= today
