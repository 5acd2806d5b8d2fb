"""The reference tables as typed rows; every row has a source and a status, or the table is refused."""

from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import time
from typing import Protocol, TypeVar

from growers.errors import FieldProblem
from growers.models import Taxon
from growers.models.taxon import Diel, Fertility, Group
from growers.services.csv_table import CellReader, cell_problem, read_table, refuse

STATUSES = ("read", "abstract", "memory", "practice", "judgement", "definition", "computed")
CONFLUENTES = "confluentes"
GROUP_WORDS = (*Group.values, CONFLUENTES)
QUANTITIES = {
    "flower_days": (1, 14),
    "receptive_day": (1, 14),
    "pollen_first_day": (0, 14),
    "pollen_last_day": (0, 14),
}


@dataclass(frozen=True)
class Source:
    """Where a value is from and how far that was verified."""

    source: str
    status: str


@dataclass(frozen=True)
class TaxonRow:
    """A name, its place and its diel habit; ``default_from`` is the taxon whose flower clock it takes."""

    row: int
    taxon: str
    rank: str
    group: str
    default_from: str
    origin_groups: tuple[str, ...]
    diel: str
    note: str
    origin: Source


@dataclass(frozen=True)
class ClockRow:
    """One number of a flower's clock."""

    row: int
    taxon: str
    quantity: str
    value: int
    origin: Source


@dataclass(frozen=True)
class HourRow:
    """Opening hours as one author prints them; only a row that is ``used`` gives the taxon its hours."""

    row: int
    taxon: str
    opens_at: time | None
    closes_at: time | None
    used: bool
    origin: Source


@dataclass(frozen=True)
class ChromosomeRow:
    """One published count; a ploidy only where the count is a multiple of the base number."""

    row: int
    taxon: str
    count_2n: int
    ploidy: float | None
    origin: Source


@dataclass(frozen=True)
class SterilityRow:
    """Whether seed and pollen of a taxon work."""

    row: int
    taxon: str
    seed_fertility: str
    pollen_fertility: str
    evidence: str
    origin: Source


@dataclass(frozen=True)
class ReferenceTables:
    """The five tables, read and held against each other."""

    taxa: tuple[TaxonRow, ...]
    clocks: tuple[ClockRow, ...]
    hours: tuple[HourRow, ...]
    chromosomes: tuple[ChromosomeRow, ...]
    sterility: tuple[SterilityRow, ...]

    def row_counts(self) -> dict[str, int]:
        """How many rows each table has."""
        rows = (self.taxa, self.clocks, self.hours, self.chromosomes, self.sterility)
        return dict(zip(TABLES, map(len, rows), strict=True))


COLUMNS = {
    "taxon": ("name", "rank", "group", "default_from", "origin_groups", "diel", "note"),
    "group": ("taxon", "quantity", "printed", "value", "note"),
    "opening_hour": (
        *("taxon", "days_printed", "opens_printed", "closes_printed"),
        *("opens_at", "closes_at", "used", "note"),
    ),
    "chromosome": ("taxon", "count_2n", "ploidy", "genome_size_mb", "note"),
    "sterility": (
        *("taxon", "kind", "seed_printed", "pollen_printed"),
        *("seed_fertility", "pollen_fertility", "evidence"),
    ),
}
TABLES = tuple(COLUMNS)


class Named(Protocol):
    """A row that says something of a taxon."""

    @property
    def row(self) -> int:
        """Its row in the file."""

    @property
    def taxon(self) -> str:
        """The name of the taxon."""


AnyRow = TypeVar("AnyRow", bound=Named)


def reference_tables(contents: Mapping[str, bytes]) -> ReferenceTables:
    """Read the five tables, by name; the first that is wrong is refused with file, row, column and value."""
    taxa = _read("taxon", contents, _taxon)
    _once_check("taxon", taxa, [row.taxon.casefold() for row in taxa], "name")
    _default_check(taxa)
    names = {row.taxon for row in taxa}
    clocks = _read("group", contents, _clock, names)
    _once_check("group", clocks, [(row.taxon, row.quantity) for row in clocks], "quantity")
    hours = _read("opening_hour", contents, _hour, names)
    used = [row for row in hours if row.used]
    _once_check("opening_hour", used, [row.taxon for row in used], "used")
    chromosomes = _read("chromosome", contents, _chromosome, names)
    _once_check("chromosome", chromosomes, [(row.taxon, row.count_2n) for row in chromosomes], "count_2n")
    sterility = _read("sterility", contents, _sterility, names)
    _once_check("sterility", sterility, [row.taxon for row in sterility], "taxon")
    return ReferenceTables(tuple(taxa), tuple(clocks), tuple(hours), tuple(chromosomes), tuple(sterility))


def file_name(table: str) -> str:
    """The file of a reference table."""
    return f"{table}.csv"


def row_refuse(table: str, row: int, column: str, value: str, allowed: str, *, code: str) -> None:
    """Refuse a whole table for one row."""
    refuse([cell_problem(row, column, value, allowed, code=code)], file=file_name(table))


def _read(
    table: str,
    contents: Mapping[str, bytes],
    make: Callable[[CellReader], AnyRow],
    names: Collection[str] | None = None,
) -> list[AnyRow]:
    file = file_name(table)
    rows = read_table(contents[table], required=(*COLUMNS[table], "source", "status"), file=file)
    problems: list[FieldProblem] = []
    made = [make(CellReader(row, problems)) for row in rows]
    if names is not None:
        unknown = [row for row in made if row.taxon and row.taxon not in names]
        allowed = f"a name of {file_name('taxon')}"
        problems.extend(
            cell_problem(row.row, "taxon", row.taxon, allowed, code="no_such_taxon") for row in unknown
        )
    refuse(problems, file=file)
    return made


def _once_check(table: str, rows: Sequence[Named], keys: Sequence[Hashable], column: str) -> None:
    seen: dict[Hashable, int] = {}
    for row, key in zip(rows, keys, strict=True):
        earlier = seen.setdefault(key, row.row)
        if earlier != row.row:
            allowed = f"once, and {row.taxon} has it in row {earlier}"
            row_refuse(table, row.row, column, row.taxon, allowed, code="twice")


def _default_check(taxa: Sequence[TaxonRow]) -> None:
    """Each group has its one row, and a clock is taken only from a taxon that stands above."""
    groups = [row for row in taxa if row.rank == Taxon.Rank.GROUP]
    _once_check("taxon", groups, [row.group for row in groups], "group")
    missing = sorted(set(Group.values) - {row.group for row in groups})
    if missing:
        row_refuse("taxon", 1, "rank", "", f"one row of rank group for {', '.join(missing)}", code="no_group")
    above: set[str] = set()
    for row in taxa:
        if row.default_from and row.default_from not in above:
            allowed = "a name that stands in a row above"
            row_refuse("taxon", row.row, "default_from", row.default_from, allowed, code="no_such_taxon")
        above.add(row.taxon)


def _origin(cells: CellReader) -> Source:
    return Source(cells.text("source"), cells.choice("status", STATUSES))


def _group(cells: CellReader) -> str:
    """The group of compatibility; Confluentes counts as Anecphya."""
    word = cells.choice("group", GROUP_WORDS)
    return Group.ANECPHYA.value if word == CONFLUENTES else word


def _taxon(cells: CellReader) -> TaxonRow:
    origin_groups = tuple(word for word in cells.text("origin_groups", needed=False).split(";") if word)
    for word in origin_groups:
        if word not in Group.values:
            cells.refuse("origin_groups", word, ", ".join(Group.values), code="not_a_choice")
    return TaxonRow(
        row=cells.row.number,
        taxon=cells.text("name", longest=120),
        rank=cells.choice("rank", Taxon.Rank.values),
        group=_group(cells),
        default_from=cells.text("default_from", needed=False),
        origin_groups=origin_groups,
        diel=cells.choice("diel", Diel.values),
        note=cells.text("note", needed=False),
        origin=_origin(cells),
    )


def _clock(cells: CellReader) -> ClockRow:
    quantity = cells.choice("quantity", tuple(QUANTITIES))
    low, high = QUANTITIES.get(quantity, (0, 14))
    value = cells.integer("value", low, high, needed=True)
    return ClockRow(cells.row.number, cells.text("taxon"), quantity, value or 0, _origin(cells))


def _hour(cells: CellReader) -> HourRow:
    opens_at, closes_at = cells.hour("opens_at"), cells.hour("closes_at")
    used = cells.choice("used", ("yes", "no")) == "yes"
    for column, moment in (("opens_at", opens_at), ("closes_at", closes_at)):
        if used and moment is None and not cells.row.cells[column]:
            cells.refuse(column, "", "a time such as 07:30 where the row is used", code="blank")
    return HourRow(cells.row.number, cells.text("taxon"), opens_at, closes_at, used, _origin(cells))


def _chromosome(cells: CellReader) -> ChromosomeRow:
    count = cells.integer("count_2n", 8, 400, needed=True)
    ploidy = cells.number("ploidy", 1, 20)
    return ChromosomeRow(cells.row.number, cells.text("taxon"), count or 0, ploidy, _origin(cells))


def _sterility(cells: CellReader) -> SterilityRow:
    return SterilityRow(
        row=cells.row.number,
        taxon=cells.text("taxon"),
        seed_fertility=cells.choice("seed_fertility", Fertility.values),
        pollen_fertility=cells.choice("pollen_fertility", Fertility.values),
        evidence=cells.text("evidence"),
        origin=_origin(cells),
    )
