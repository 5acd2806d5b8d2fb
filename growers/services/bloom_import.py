"""Seasons from a CSV file: shown first, then written, all or nothing."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby, pairwise
from typing import Literal

from django.db import transaction

from growers.errors import FieldProblem
from growers.models import BloomSeason, Change, Grower, Plant
from growers.services import bloom_rule, change
from growers.services.bloom_rule import SeasonDates
from growers.services.csv_table import CellReader, TableRow, cell_problem, read_table, refuse
from growers.services.problem import Problems

REQUIRED = ("plant", "first_flower_on")
OPTIONAL = ("last_flower_on", "first_precision", "last_precision")

Action = Literal["created", "updated", "unchanged"]


@dataclass(frozen=True)
class ImportedSeason:
    """One row of the file and what is done with it."""

    row: int
    plant_number: str
    first_flower_on: date
    last_flower_on: date | None
    action: Action


@dataclass(frozen=True)
class BloomImport:
    """What an import would write or, if ``written``, has written."""

    seasons: tuple[ImportedSeason, ...]
    written: bool

    def count(self, action: Action) -> int:
        """How many rows have this outcome."""
        return sum(season.action == action for season in self.seasons)


@dataclass(frozen=True)
class _Season:
    row: int
    plant: Plant
    dates: SeasonDates
    stored: BloomSeason | None
    action: Action


def bloom_import(*, actor: Grower, content: bytes, dry_run: bool = False) -> BloomImport:
    """Read seasons of the actor's plants, by plant number; a season on record is completed, not doubled.

    Columns ``plant`` and ``first_flower_on``; if wanted ``last_flower_on``, ``first_precision`` and
    ``last_precision``. A blank cell leaves what is on record. Any wrong row refuses the whole file.
    """
    rows = read_table(content, required=REQUIRED, optional=OPTIONAL)
    with transaction.atomic():
        plants = _plants(actor, rows)
        seasons = _seasons(rows, plants)
        if not dry_run:
            _write(seasons)
    return BloomImport(tuple(_imported(season) for season in seasons), written=not dry_run)


def _imported(season: _Season) -> ImportedSeason:
    first, last = season.dates.first_flower_on, season.dates.last_flower_on
    return ImportedSeason(season.row, season.plant.number, first, last, season.action)


def _plants(actor: Grower, rows: list[TableRow]) -> dict[str, Plant]:
    locked = Plant.objects.select_for_update(of=("self",)).select_related("site").order_by("pk")
    numbers = {row.cells["plant"] for row in rows}
    return {
        plant.number: plant
        for plant in locked.filter(grower=actor, grower__closed_at__isnull=True, number__in=numbers)
    }


def _seasons(rows: list[TableRow], plants: dict[str, Plant]) -> list[_Season]:
    stored = _stored(plants.values())
    problems: list[FieldProblem] = []
    read = [_season(row, plants, stored, problems) for row in rows]
    seasons = [season for season in read if season is not None]
    problems.extend(_doubled(seasons))
    refuse(problems)
    refuse(_overlaps(seasons, stored.values()))
    return seasons


def _stored(plants: Iterable[Plant]) -> dict[tuple[int, date], BloomSeason]:
    found = BloomSeason.objects.filter(plant__in=list(plants))
    return {(season.plant_id, season.first_flower_on): season for season in found}


def _season(
    row: TableRow,
    plants: dict[str, Plant],
    stored: dict[tuple[int, date], BloomSeason],
    problems: list[FieldProblem],
) -> _Season | None:
    """One row as a season, or None with its problems noted."""
    cells = CellReader(row, problems)
    known = len(problems)
    plant = plants.get(cells.text("plant"))
    if plant is None and row.cells["plant"]:
        cells.refuse("plant", row.cells["plant"], "the number of a plant of yours", code="no_such_plant")
    first = cells.day("first_flower_on", needed=True)
    last = cells.day("last_flower_on")
    if plant is None or first is None or len(problems) > known:
        return None
    season = _completed(row, plant, first, last, stored.get((plant.pk, first)))
    checked = Problems(row=row.number)
    bloom_rule.season_check(checked, season.dates, bloom_rule.today_at(plant))
    problems.extend(checked.found)
    return None if checked.found else season


def _completed(
    row: TableRow, plant: Plant, first: date, last: date | None, stored: BloomSeason | None
) -> _Season:
    """The season of a row; what its cells leave blank is what the record has."""
    record = SeasonDates(first, None) if stored is None else bloom_rule.dates_of(stored)
    same_last = last is None or last == record.last_flower_on
    last_precision = record.last_precision if same_last else BloomSeason.Precision.DAY
    dates = SeasonDates(
        first,
        last or record.last_flower_on,
        row.cells.get("first_precision") or record.first_precision,
        row.cells.get("last_precision") or last_precision,
        row.number,
    )
    return _Season(row.number, plant, dates, stored, _action(stored, dates))


def _action(stored: BloomSeason | None, dates: SeasonDates) -> Action:
    if stored is None:
        return "created"
    return "unchanged" if replace(dates, row=None) == bloom_rule.dates_of(stored) else "updated"


def _doubled(seasons: list[_Season]) -> Iterable[FieldProblem]:
    rows: dict[tuple[int, date], int] = {}
    for season in seasons:
        day = season.dates.first_flower_on
        earlier = rows.setdefault((season.plant.pk, day), season.row)
        if earlier != season.row:
            allowed = f"a season once, and it stands in row {earlier}"
            yield cell_problem(season.row, "first_flower_on", str(day), allowed, code="season_twice")


def _overlaps(seasons: list[_Season], stored: Iterable[BloomSeason]) -> list[FieldProblem]:
    """Overlaps among the rows and with what stays on record; neighbours in time are enough to look at."""
    replaced = {season.stored.pk for season in seasons if season.stored is not None}
    kept = [(old.plant_id, bloom_rule.dates_of(old)) for old in stored if old.pk not in replaced]
    both = sorted(
        [*kept, *((season.plant.pk, season.dates) for season in seasons)],
        key=lambda pair: (pair[0], pair[1].first_flower_on),
    )
    problems: list[FieldProblem] = []
    for _, pairs in groupby(both, key=lambda pair: pair[0]):
        for earlier, later in pairwise([dates for _, dates in pairs]):
            season, other = (later, earlier) if later.row is not None else (earlier, later)
            if season.row is not None:
                checked = Problems(row=season.row)
                bloom_rule.overlap_check(checked, season, [other])
                problems.extend(checked.found)
    return problems


def _write(seasons: list[_Season]) -> None:
    changed = [season for season in seasons if season.action != "unchanged"]
    new = [_filled(season) for season in changed if season.stored is None]
    old = [_filled(season) for season in changed if season.stored is not None]
    BloomSeason.objects.bulk_create(new)
    BloomSeason.objects.bulk_update(
        old, ["last_flower_on", "first_precision", "last_precision"], batch_size=200
    )
    touched = {season.plant.pk: season.plant for season in changed}
    change.note_all(Change.Kind.BLOOM, touched.values())


def _filled(season: _Season) -> BloomSeason:
    row = season.stored or BloomSeason(plant=season.plant)
    row.first_flower_on, row.first_precision = season.dates.first_flower_on, season.dates.first_precision
    row.last_flower_on, row.last_precision = season.dates.last_flower_on, season.dates.last_precision
    return row
