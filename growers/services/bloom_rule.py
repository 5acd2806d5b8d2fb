"""What a bloom record must satisfy, as checks that only collect problems."""

import calendar
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from growers import clock
from growers.errors import NotFound
from growers.models import BloomSaid, BloomSeason, Grower, Plant
from growers.services.problem import Problems, shown

EARLIEST = date(1900, 1, 1)
LONGEST_SEASON_DAYS = 365
# Judgement: a season without a last flower counts as this long, so that one season is not recorded twice.
OPEN_SEASON_DAYS = 60
MOST_FLOWERS_A_DAY = 1_000
LEAP_YEAR = 2024


@dataclass(frozen=True)
class SeasonDates:
    """One season as given; ``row`` is its row of a table, None where it is on record."""

    first_flower_on: date
    last_flower_on: date | None
    first_precision: str = BloomSeason.Precision.DAY
    last_precision: str = BloomSeason.Precision.DAY
    row: int | None = None

    @property
    def counts_until(self) -> date:
        """Last day on which no other season may begin."""
        return self.last_flower_on or self.first_flower_on + timedelta(days=OPEN_SEASON_DAYS)


@dataclass(frozen=True)
class SaidWords:
    """A window as a grower says it."""

    all_year: bool
    weak_months: Sequence[int]
    first_month: int | None
    first_day: int | None
    last_month: int | None
    last_day: int | None
    precision: str


def own_plant(actor: Grower, plant: Plant) -> Plant:
    """The locked row of the actor's own plant; anybody else's does not exist for them."""
    own = Plant.objects.select_for_update(of=("self",)).select_related("site")
    found = own.filter(pk=plant.pk, grower=actor, grower__closed_at__isnull=True).first()
    if found is None:
        raise NotFound("There is no such plant.")
    return found


def today_at(plant: Plant) -> date:
    """The civil date at the plant's place."""
    return clock.today(plant.site.cell_zone)


def dates_of(season: BloomSeason) -> SeasonDates:
    """A stored season as plain dates."""
    return SeasonDates(
        season.first_flower_on, season.last_flower_on, season.first_precision, season.last_precision
    )


def day_check(problems: Problems, name: str, day: date, today: date) -> None:
    """A day that has been, and not one of a mistyped year."""
    if not EARLIEST <= day <= today:
        problems.add(name, day, f"{EARLIEST} to {today}, today at the plant's site", code="day_not_possible")


def season_check(problems: Problems, season: SeasonDates, today: date) -> None:
    """A season's days are in order, at most a year apart and not in the future."""
    day_check(problems, "first_flower_on", season.first_flower_on, today)
    for name, word in (
        ("first_precision", season.first_precision),
        ("last_precision", season.last_precision),
    ):
        if word not in BloomSeason.Precision.values:
            problems.add(name, word, ", ".join(BloomSeason.Precision.values), code="not_a_choice")
    if season.last_flower_on is not None:
        _last_check(problems, season.first_flower_on, season.last_flower_on, today)


def _last_check(problems: Problems, first: date, last: date, today: date) -> None:
    days = (last - first).days
    if days < 0:
        problems.add(
            "last_flower_on", last, f"{first}, the first_flower_on, or later", code="season_reversed"
        )
    elif days > LONGEST_SEASON_DAYS:
        allowed = f"at most {LONGEST_SEASON_DAYS} days"
        sentence = f"last_flower_on is {last}, {days} days after first_flower_on; allowed: {allowed}."
        tell(problems, "last_flower_on", "season_too_long", sentence, value=str(last), allowed=allowed)
    else:
        day_check(problems, "last_flower_on", last, today)


def overlap_check(problems: Problems, season: SeasonDates, others: Iterable[SeasonDates]) -> None:
    """No other season of the plant covers a day of this one."""
    for other in others:
        apart = season.first_flower_on > other.counts_until or other.first_flower_on > season.counts_until
        if not apart:
            overlap_tell(problems, season, other)
            return


def overlap_tell(problems: Problems, season: SeasonDates, other: SeasonDates) -> None:
    """Say which season this one overlaps, and where that one stands."""
    until = f"until {other.last_flower_on}"
    if other.last_flower_on is None:
        until = f"(no last_flower_on, counted as {OPEN_SEASON_DAYS} days)"
    place = "on record" if other.row is None else f"in row {other.row}"
    allowed = "seasons of a plant that do not overlap"
    sentence = (
        f"first_flower_on is {season.first_flower_on}, and a season from {other.first_flower_on} {until} "
        f"is {place}; allowed: {allowed}."
    )
    value = str(season.first_flower_on)
    tell(problems, "first_flower_on", "seasons_overlap", sentence, value=value, allowed=allowed)


def tell(problems: Problems, name: str, code: str, sentence: str, *, value: str, allowed: str) -> None:
    """Note a problem in words of one's own, with its row where there is one."""
    place = "" if problems.row is None else f"Row {problems.row}, column {name}: "
    problems.add_sentence(name, code, f"{place}{sentence}", value=value, allowed=allowed)


def said_check(problems: Problems, said: SaidWords) -> None:
    """A window that is complete: two days of the year, or all year with its weak months."""
    if said.precision not in BloomSaid.Precision.values:
        problems.add("precision", said.precision, ", ".join(BloomSaid.Precision.values), code="not_a_choice")
    if said.all_year:
        _all_year_check(problems, said)
        return
    if said.weak_months:
        allowed = "months only where all_year is said"
        problems.add("weak_months", list(said.weak_months), allowed, code="only_all_year")
    _day_of_year_check(problems, "first", said.first_month, said.first_day)
    _day_of_year_check(problems, "last", said.last_month, said.last_day)


def _all_year_check(problems: Problems, said: SaidWords) -> None:
    for name in ("first_month", "first_day", "last_month", "last_day"):
        if getattr(said, name) is not None:
            allowed = "nothing where all_year is said"
            problems.add(name, getattr(said, name), allowed, code="not_with_all_year")
    months = list(said.weak_months)
    if (
        not all(_is_whole(month, 1, 12) for month in months)
        or len(set(months)) != len(months)
        or len(months) > 11
    ):
        allowed = "months from 1 to 12, each once, at most 11"
        problems.add("weak_months", months, allowed, code="not_months")


def _day_of_year_check(problems: Problems, which: str, month: int | None, day: int | None) -> None:
    if not _is_whole(month, 1, 12):
        problems.add(f"{which}_month", month, "a month from 1 to 12", code="not_a_month")
    longest = (
        31 if month is None or problems.has(f"{which}_month") else calendar.monthrange(LEAP_YEAR, month)[1]
    )
    if not _is_whole(day, 1, longest):
        problems.add(f"{which}_day", day, f"a day from 1 to {longest}", code="not_a_day")


def _is_whole(value: object, low: int, high: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def count_check(problems: Problems, count: object) -> None:
    """A number of new flowers that one plant can open on a day."""
    if not _is_whole(count, 0, MOST_FLOWERS_A_DAY):
        allowed = f"a whole number from 0 to {MOST_FLOWERS_A_DAY}"
        problems.add("flower_count", count, allowed, code="not_in_range")


def not_yet_check(problems: Problems, seen_on: date, seasons: Iterable[SeasonDates]) -> None:
    """No flower yet cannot be true in the middle of a season on record."""
    for season in seasons:
        if season.first_flower_on <= seen_on <= season.counts_until:
            allowed = "a day outside the seasons on record"
            sentence = (
                f"seen_on is {shown(seen_on)}, and a first flower is on record for {season.first_flower_on}; "
                f"allowed: {allowed}."
            )
            tell(problems, "seen_on", "flower_on_record", sentence, value=str(seen_on), allowed=allowed)
            return
