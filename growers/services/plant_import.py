"""Plants from a CSV table: all rows or none, with a dry run that says what would be written."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID

from django.db import transaction

from growers import clock
from growers.errors import FieldProblem
from growers.models import Change, Grower, Plant, Site, Taxon
from growers.selectors.csv_cell import list_parts
from growers.selectors.relative import Parents, line_of_descent, on_circles
from growers.selectors.taxon import taxa_by_name
from growers.services import change
from growers.services.csv_table import MOST_PROBLEMS, CellReader, TableRow, read_table, refuse
from growers.services.grower import open_grower
from growers.services.plant import own_site_check
from growers.services.plant_rule import (
    CROWNS,
    EARLIEST_WILD_YEAR,
    PARENTS,
    circle_note,
    free_numbers,
    group_diels,
    plant_check,
    taxon_facts_set,
)
from growers.services.problem import Problems
from growers.services.row import text_tidied

MOST_PLANTS = 5_000
BATCH = 500
TEXTS = (
    "name_as_grown",
    "number",
    "group",
    "diel",
    "identity",
    "seed_fertility",
    "pollen_fertility",
    "fertility_evidence",
    "parentage_confidence",
    "origin",
    "wild_country",
    "rights",
    "health_seen",
)
OTHERS = ("taxon", "crowns", "wild_year", "direction_known", "traits", "chromosome_counts", *PARENTS)
YES_NO = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class ImportedPlant:
    """One row as it was, or in a dry run would be, written; only what is written has an id."""

    row: int
    public_id: UUID | None
    number: str
    name_as_grown: str
    taxon_name: str
    group: str
    diel: str


@dataclass(frozen=True, slots=True)
class PlantImport:
    """The rows of an import; ``written`` is False for a dry run."""

    written: bool
    plants: tuple[ImportedPlant, ...]


@dataclass
class _Entry:
    """A row on its way to a plant."""

    table_row: TableRow
    plant: Plant
    problems: Problems
    parents: dict[str, Plant] = field(default_factory=dict)

    def cell(self, column: str) -> str:
        return text_tidied(self.table_row.cells.get(column, ""))


def plant_import(*, actor: Grower, site: Site, content: bytes, dry_run: bool = False) -> PlantImport:
    """Add the plants of a table to one's own site.

    Parents are named by number, of a plant already entered or of any row of the table. A wrong row
    refuses the table: every problem names row, column, value and what is allowed.
    """
    own_site_check(actor, site)
    table = read_table(content, required=TEXTS[:1], optional=[*TEXTS[1:], *OTHERS])
    _size_check(table)
    entries = _entries(actor, site, table)
    with transaction.atomic():
        grower = open_grower(actor)
        _numbers_and_parents_set(grower, entries)
        refuse([problem for entry in entries for problem in entry.problems.found])
        if not dry_run:
            _write(entries)
    return PlantImport(not dry_run, tuple(_imported(entry, dry_run) for entry in entries))


def _size_check(table: Sequence[TableRow]) -> None:
    if len(table) > MOST_PLANTS:
        sentence = f"The table has {len(table)} plants; allowed: at most {MOST_PLANTS}."
        refuse([FieldProblem("file", "too_many_rows", sentence)])


def _entries(actor: Grower, site: Site, table: Sequence[TableRow]) -> list[_Entry]:
    """Plants with all that needs no other plant, checked."""
    taxa = taxa_by_name(row.cells.get("taxon", "") for row in table)
    diels = group_diels()
    this_year = clock.today(site.cell_zone).year
    entries = [_Entry(row, Plant(grower=actor, site=site), Problems(row.number)) for row in table]
    for entry in entries:
        _cells_set(entry, taxa)
        stated = {name: entry.cell(name) for name in ("group", "diel")}
        taxon_facts_set(entry.plant, stated, diels, entry.problems)
        given_later = () if entry.plant.number else ("number",)
        plant_check(entry.plant, entry.problems, this_year=this_year, given_later=given_later)
    return entries


def _cells_set(entry: _Entry, taxa: Mapping[str, Taxon]) -> None:
    """Read the cells of a row; a blank cell leaves what is so for a plant of which nothing is said."""
    plant, cells = entry.plant, CellReader(entry.table_row, entry.problems.found)
    for column in TEXTS:
        if entry.cell(column):
            setattr(plant, column, entry.cell(column))
    crowns = cells.integer("crowns", *CROWNS)
    plant.crowns = plant.crowns if crowns is None else crowns
    plant.wild_year = cells.integer("wild_year", EARLIEST_WILD_YEAR, 9999)
    plant.direction_known = YES_NO[cells.choice("direction_known", [*YES_NO], default="yes") or "yes"]
    plant.traits = list_parts(entry.cell("traits"))
    plant.chromosome_counts = [_whole(part) for part in list_parts(entry.cell("chromosome_counts"))]
    _taxon_set(entry, taxa)


def _taxon_set(entry: _Entry, taxa: Mapping[str, Taxon]) -> None:
    name = entry.table_row.cells.get("taxon", "")
    if name and name not in taxa:
        entry.problems.add("taxon", name, "the name of a taxon in the tables, or nothing", code="not_found")
    elif name:
        entry.plant.taxon = taxa[name]


def _whole(part: str) -> int | str:
    """The number that a part spells; other text stays, for the check to refuse."""
    return int(part) if part.isascii() and part.isdecimal() and len(part) < 10 else part


def _numbers_and_parents_set(grower: Grower, entries: Sequence[_Entry]) -> None:
    """Check and give numbers, then find the parents that rows name by number."""
    stored = {plant.number: plant for plant in Plant.objects.filter(grower=grower)}
    rows = _rows_by_number(entries, stored.keys())
    free = free_numbers([*stored, *rows])
    for entry in entries:
        entry.plant.number = entry.plant.number or next(free)
    named = stored | {number: entry.plant for number, entry in rows.items()}
    for entry in entries:
        _parents_find(entry, named)
    _circles_note(entries)


def _rows_by_number(entries: Sequence[_Entry], stored: Collection[str]) -> dict[str, _Entry]:
    rows: dict[str, _Entry] = {}
    for entry in entries:
        number = entry.plant.number
        if number in rows:
            other = f"a number of its own; row {rows[number].table_row.number} has it"
            entry.problems.add("number", number, other, code="taken")
        elif number in stored:
            allowed = "a number that none of your plants has yet"
            entry.problems.add("number", number, allowed, code="taken")
        elif number:
            rows[number] = entry
    return rows


def _parents_find(entry: _Entry, named: Mapping[str, Plant]) -> None:
    for column in PARENTS:
        number = entry.cell(column)
        if number and number not in named:
            allowed = "the number of a plant of yours or of a row of this table"
            entry.problems.add(column, number, allowed, code="not_found")
        elif number:
            entry.parents[column] = named[number]


def _circles_note(entries: Sequence[_Entry]) -> None:
    """Refuse rows that are their own ancestors; a plant already entered cannot descend from a row."""
    places = {id(entry.plant): position for position, entry in enumerate(entries)}
    parents: Parents = {
        places[id(entry.plant)]: (_place_of(entry, PARENTS[0], places), _place_of(entry, PARENTS[1], places))
        for entry in entries
    }
    circles = on_circles(parents)
    # No more than a refusal lists: a path is looked for, and told, for each.
    for position in [*circles][:MOST_PROBLEMS]:
        for column, parent in zip(PARENTS, circles[position], strict=True):
            line = [] if parent is None else line_of_descent(circles, parent, position)
            if line:
                numbers = [entries[place].plant.number for place in [position, *line]]
                circle_note(entries[position].problems, column, numbers)


def _place_of(entry: _Entry, column: str, places: Mapping[int, int]) -> int | None:
    parent = entry.parents.get(column)
    return None if parent is None else places.get(id(parent))


def _write(entries: Sequence[_Entry]) -> None:
    plants = [entry.plant for entry in entries]
    Plant.objects.bulk_create(plants, batch_size=BATCH)
    offspring = [entry.plant for entry in entries if entry.parents]
    for entry in entries:
        for column, parent in entry.parents.items():
            setattr(entry.plant, column, parent)
    Plant.objects.bulk_update(offspring, PARENTS, batch_size=BATCH)
    change.note_all(Change.Kind.PLANT, plants)


def _imported(entry: _Entry, dry_run: bool) -> ImportedPlant:
    plant = entry.plant
    return ImportedPlant(
        row=entry.table_row.number,
        public_id=None if dry_run else plant.public_id,
        number=plant.number,
        name_as_grown=plant.name_as_grown,
        taxon_name=plant.taxon.name if plant.taxon else "",
        group=plant.group,
        diel=plant.diel,
    )
