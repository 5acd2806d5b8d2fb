"""Which season is the present one, and what was seen in it: pure rules over plain data."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

# Judgement: a season that ended longer ago than half a year says nothing of the season to come.
LATELY_DAYS = 183
LONGEST_SEASON_DAYS = 365
# Judgement: first flowers counted with no look before them may have begun up to a month earlier.
UNWATCHED_DAYS = 30


@dataclass(frozen=True)
class SeasonFact:
    """A season on record; a date with an interval of n days is known to n days, 0 to the day.

    Where the end was derived from a later look, the last flower came in the interval before the date.
    ``last_flower_on`` is None while the season is on, and where its end was never seen.
    """

    first_flower_on: date
    first_interval_days: int
    last_flower_on: date | None
    last_interval_days: int


@dataclass(frozen=True)
class SightingFact:
    """What was seen on a day; ``kind`` as in ``growers.models.BloomSighting.Kind``."""

    seen_on: date
    kind: str
    bud_stage: str = ""
    flower_count: int = 0

    @property
    def is_flower(self) -> bool:
        """Whether new flowers were seen."""
        return self.kind == "first_day_flowers" and self.flower_count > 0

    @property
    def is_sign(self) -> bool:
        """Whether it tells of a season to come or going on."""
        return self.is_flower or self.kind in ("not_yet", "bud")


@dataclass(frozen=True)
class PresentSeason:
    """What was seen of the season that is on, that is coming, or that has just ended."""

    first_flower_on: date | None = None
    first_interval_days: int = 0
    season_over_on: date | None = None
    not_yet_on: date | None = None
    bud_seen_on: date | None = None
    bud_stage: str = ""
    flower_counts: tuple[tuple[date, int], ...] = ()


def finished(seasons: tuple[SeasonFact, ...], sightings: tuple[SightingFact, ...]) -> tuple[SeasonFact, ...]:
    """The seasons in order of time; one without a last flower ends where it was next seen to be over.

    Seen over, or no flower yet, on a later day: the last flower came between the last flower seen and
    that day, which the interval says.
    """
    nexts = [*(later.first_flower_on for later in seasons[1:]), date.max]
    return tuple(_ended(season, until, sightings) for season, until in zip(seasons, nexts, strict=False))


def _ended(season: SeasonFact, until: date, sightings: tuple[SightingFact, ...]) -> SeasonFact:
    if season.last_flower_on is not None:
        return season
    first = season.first_flower_on
    limit = min(until, first + timedelta(days=LONGEST_SEASON_DAYS))
    inside = [seen for seen in sightings if first < seen.seen_on < limit]
    sighting = next((seen for seen in inside if seen.kind in ("season_over", "not_yet")), None)
    if sighting is None:
        return season
    # "No flower yet" already tells of the next season, so this one ended before that day.
    end = sighting.seen_on - timedelta(days=sighting.kind == "not_yet")
    flowering = max([first, *(seen.seen_on for seen in inside if seen.is_flower and seen.seen_on <= end)])
    return replace(season, last_flower_on=end, last_interval_days=(end - flowering).days)


def present_season(
    seasons: tuple[SeasonFact, ...], sightings: tuple[SightingFact, ...], today: date
) -> PresentSeason:
    """The facts of the present season; empty where nothing was seen since the last one or for half a year."""
    closures = sorted(_closures(seasons, sightings))
    closed_on = closures[-1] if closures else None
    begun = _begun(seasons, today)
    if begun is None and closed_on is not None and not _signs_after(closed_on, sightings):
        return _just_over(seasons, sightings, closed_on, today)
    after = _after(begun, closures, today)
    period = [seen for seen in sightings if after < seen.seen_on]
    return _with_first(begun, period) if begun is not None else _without_record(period)


def _closures(seasons: tuple[SeasonFact, ...], sightings: tuple[SightingFact, ...]) -> Iterator[date]:
    yield from (season.last_flower_on for season in seasons if season.last_flower_on is not None)
    yield from (seen.seen_on for seen in sightings if seen.kind == "season_over")


def _begun(seasons: tuple[SeasonFact, ...], today: date) -> SeasonFact | None:
    """The season that is on: the latest, begun within a year, its last flower not known."""
    latest = seasons[-1] if seasons else None
    if latest is None or latest.last_flower_on is not None:
        return None
    return latest if (today - latest.first_flower_on).days <= LONGEST_SEASON_DAYS else None


def _signs_after(day: date, sightings: Iterable[SightingFact]) -> bool:
    return any(seen.is_sign and seen.seen_on > day for seen in sightings)


def _after(begun: SeasonFact | None, closures: list[date], today: date) -> date:
    """The day after which sightings belong to the present season."""
    first = begun.first_flower_on if begun is not None else today
    before = [day for day in closures if begun is None or day < first]
    return max([*before[-1:], first - timedelta(days=LATELY_DAYS)])


def _with_first(season: SeasonFact, period: list[SightingFact]) -> PresentSeason:
    return _present(season.first_flower_on, season.first_interval_days, period)


def _without_record(period: list[SightingFact]) -> PresentSeason:
    """No season on record: the first flowers counted stand for its beginning."""
    first = next((seen.seen_on for seen in period if seen.is_flower), None)
    if first is None:
        return _present(None, 0, period)
    looked = [seen.seen_on for seen in period if seen.kind == "not_yet" and seen.seen_on < first]
    interval = (first - looked[-1]).days if looked else UNWATCHED_DAYS
    return _present(first, interval, period)


def _just_over(
    seasons: tuple[SeasonFact, ...], sightings: tuple[SightingFact, ...], closed_on: date, today: date
) -> PresentSeason:
    """The season that has ended; after half a year it is only a record."""
    if (today - closed_on).days > LATELY_DAYS:
        return PresentSeason()
    latest = seasons[-1] if seasons else None
    last = latest.last_flower_on if latest is not None else None
    if latest is not None and last is not None and _belongs(last, closed_on, sightings):
        period = [seen for seen in sightings if seen.seen_on >= latest.first_flower_on]
        return _over(_with_first(latest, period), last)
    earlier = [day for day in _closures(seasons, sightings) if day < closed_on]
    after = max([*earlier, closed_on - timedelta(days=LATELY_DAYS)])
    return _over(_without_record([seen for seen in sightings if seen.seen_on > after]), closed_on)


def _belongs(last: date, closed_on: date, sightings: Iterable[SightingFact]) -> bool:
    """Whether seeing it over on ``closed_on`` tells of the season with its last flower on ``last``."""
    flowered_since = any(seen.is_flower and last < seen.seen_on <= closed_on for seen in sightings)
    return not flowered_since and (closed_on - last).days <= LATELY_DAYS


def _over(season: PresentSeason, over_on: date) -> PresentSeason:
    """A season that has ended: what announced it is of no use any more."""
    return replace(season, season_over_on=over_on, not_yet_on=None, bud_seen_on=None, bud_stage="")


def _present(first: date | None, interval_days: int, period: list[SightingFact]) -> PresentSeason:
    not_yet = [seen.seen_on for seen in period if seen.kind == "not_yet"]
    buds = [seen for seen in period if seen.kind == "bud" and (first is None or seen.seen_on >= first)]
    counts = [seen for seen in period if seen.kind == "first_day_flowers"]
    return PresentSeason(
        first_flower_on=first,
        first_interval_days=interval_days,
        # A look before the first flower is told by the interval; counts before it are of no season yet.
        not_yet_on=not_yet[-1] if not_yet and first is None else None,
        bud_seen_on=buds[-1].seen_on if buds else None,
        bud_stage=buds[-1].bud_stage if buds else "",
        flower_counts=tuple(
            (seen.seen_on, seen.flower_count)
            for seen in counts
            if first is not None and seen.seen_on >= first
        ),
    )
