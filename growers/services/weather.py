"""Weather days of a site: typed in one by one or read from a logger's CSV file, for its owner only."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

from django.db import transaction

from growers import clock
from growers.errors import FieldProblem, NotFound
from growers.models import Change, Grower, Site, WeatherDay
from growers.services import change
from growers.services.csv_table import CellReader, DecimalMark, TableRow, cell_problem, read_table, refuse
from growers.services.problem import Problems

EARLIEST = date(1900, 1, 1)
# Sanity bounds (judgement): the record of air lies within -90 and 57 °C; unfrozen pond water near 0 to 45 °C.
AIR_RANGE_C = (-90.0, 60.0)
WATER_RANGE_C = (-2.0, 50.0)
RANGES_C = {
    "minimum_c": AIR_RANGE_C,
    "maximum_c": AIR_RANGE_C,
    "mean_c": AIR_RANGE_C,
    "water_c": WATER_RANGE_C,
}
COLUMNS = {"minimum_c": "tmin_c", "maximum_c": "tmax_c", "mean_c": "tmean_c", "water_c": "water_c"}

Action = Literal["created", "updated", "unchanged"]
Values = dict[str, float | None]


@dataclass(frozen=True)
class ImportedDay:
    """One row of the file and what is done with it."""

    row: int
    measured_on: date
    action: Action


@dataclass(frozen=True)
class WeatherImport:
    """What an import would write or, if ``written``, has written."""

    days: tuple[ImportedDay, ...]
    written: bool

    def count(self, action: Action) -> int:
        """How many rows have this outcome."""
        return sum(day.action == action for day in self.days)


@dataclass(frozen=True)
class _Day:
    row: int
    measured_on: date
    values: Values
    stored: WeatherDay | None
    action: Action


def weather_day_set(
    *,
    actor: Grower,
    site: Site,
    measured_on: date,
    minimum_c: float | None = None,
    maximum_c: float | None = None,
    mean_c: float | None = None,
    water_c: float | None = None,
) -> WeatherDay:
    """Set what is known of a day at a site, in place of what was there; None is not stated."""
    values: Values = {"minimum_c": minimum_c, "maximum_c": maximum_c, "mean_c": mean_c, "water_c": water_c}
    with transaction.atomic():
        own = _own_site(actor, site)
        problems = Problems()
        _day_check(problems, "measured_on", measured_on, clock.today(own.cell_zone))
        _values_check(problems, values, {name: name for name in values})
        problems.refuse_if_any()
        day, _ = WeatherDay.objects.update_or_create(site=own, measured_on=measured_on, defaults=values)
        change.note(Change.Kind.WEATHER, own)
    return day


def weather_days_import(
    *, actor: Grower, site: Site, content: bytes, dry_run: bool = False, decimal_mark: DecimalMark = "."
) -> WeatherImport:
    """Read the days of a logger or a weather station; any wrong row refuses the whole file.

    Column ``date`` and at least one of ``tmin_c``, ``tmax_c``, ``tmean_c``, ``water_c``. A blank cell
    leaves what is on record, so that air and water can come from two files.
    """
    rows = read_table(content, required=("date",), optional=tuple(COLUMNS.values()))
    with transaction.atomic():
        own = _own_site(actor, site)
        days = _days(rows, own, decimal_mark)
        if not dry_run:
            _write(own, days)
    imported = tuple(ImportedDay(day.row, day.measured_on, day.action) for day in days)
    return WeatherImport(imported, written=not dry_run)


def _own_site(actor: Grower, site: Site) -> Site:
    own = (
        Site.objects.select_for_update(of=("self",))
        .filter(pk=site.pk, grower=actor, grower__closed_at__isnull=True)
        .first()
    )
    if own is None:
        raise NotFound("There is no such site.")
    return own


def _values_of(day: WeatherDay) -> Values:
    return {name: getattr(day, name) for name in COLUMNS}


def _day_check(problems: Problems, name: str, day: date, today: date) -> None:
    if not EARLIEST <= day <= today:
        problems.add(name, day, f"{EARLIEST} to {today}, today at the site", code="day_not_possible")


def _values_check(problems: Problems, values: Values, names: dict[str, str]) -> None:
    """Something is stated, each number can be, and minimum, mean and maximum are in order."""
    if all(value is None for value in values.values()):
        columns = ", ".join(names.values())
        problems.add(names["mean_c"], None, f"a number in at least one of {columns}", code="nothing_stated")
    for name, value in values.items():
        low, high = RANGES_C[name]
        if value is not None and not low <= value <= high:
            problems.add(names[name], value, f"{low:g} to {high:g}", code="not_in_range")
    if not problems.found:
        _order_check(problems, values, names)


def _order_check(problems: Problems, values: Values, names: dict[str, str]) -> None:
    for lower, upper in (("minimum_c", "maximum_c"), ("minimum_c", "mean_c"), ("mean_c", "maximum_c")):
        low, high = values[lower], values[upper]
        if low is not None and high is not None and low > high:
            problems.add(names[upper], high, f"{low:g}, the {names[lower]}, or more", code="not_in_order")
            return


def _days(rows: list[TableRow], site: Site, decimal_mark: DecimalMark) -> list[_Day]:
    stored = {day.measured_on: day for day in WeatherDay.objects.filter(site=site)}
    problems: list[FieldProblem] = []
    today = clock.today(site.cell_zone)
    read = [_day(CellReader(row, problems, decimal_mark=decimal_mark), stored, today) for row in rows]
    days = [day for day in read if day is not None]
    problems.extend(_doubled(days))
    refuse(problems)
    return days


def _day(cells: CellReader, stored: dict[date, WeatherDay], today: date) -> _Day | None:
    """One row as a day, or None with its problems noted."""
    known = len(cells.problems)
    measured_on = cells.day("date", needed=True)
    read = {name: cells.number(column, *RANGES_C[name]) for name, column in COLUMNS.items()}
    if measured_on is None or len(cells.problems) > known:
        return None
    checked = Problems(row=cells.row.number)
    _day_check(checked, "date", measured_on, today)
    record = stored.get(measured_on)
    before: Values = dict.fromkeys(COLUMNS) if record is None else _values_of(record)
    values = {name: before[name] if value is None else value for name, value in read.items()}
    # A row that states nothing is refused even where the record has something.
    _values_check(checked, values if any(value is not None for value in read.values()) else read, COLUMNS)
    cells.problems.extend(checked.found)
    return (
        None
        if checked.found
        else _Day(cells.row.number, measured_on, values, record, _action(record, values))
    )


def _action(stored: WeatherDay | None, values: Values) -> Action:
    if stored is None:
        return "created"
    return "unchanged" if _values_of(stored) == values else "updated"


def _doubled(days: list[_Day]) -> Iterable[FieldProblem]:
    rows: dict[date, int] = {}
    for day in days:
        earlier = rows.setdefault(day.measured_on, day.row)
        if earlier != day.row:
            allowed = f"a day once, and it stands in row {earlier}"
            yield cell_problem(day.row, "date", str(day.measured_on), allowed, code="day_twice")


def _write(site: Site, days: list[_Day]) -> None:
    changed = [day for day in days if day.action != "unchanged"]
    new = [_filled(site, day) for day in changed if day.stored is None]
    old = [_filled(site, day) for day in changed if day.stored is not None]
    WeatherDay.objects.bulk_create(new, batch_size=500)
    WeatherDay.objects.bulk_update(old, list(COLUMNS), batch_size=200)
    if changed:
        change.note(Change.Kind.WEATHER, site)


def _filled(site: Site, day: _Day) -> WeatherDay:
    row = day.stored or WeatherDay(site=site, measured_on=day.measured_on)
    for name, value in day.values.items():
        setattr(row, name, value)
    return row
