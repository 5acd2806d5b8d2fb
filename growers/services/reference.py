"""Loads the reference tables of taxa: repeatable, stamped, all or nothing; never part of a migration."""

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import transaction

from growers import clock
from growers.errors import InvalidInput
from growers.models import Change, ReferenceLoad, Taxon
from growers.services import change
from growers.services.reference_merge import TaxonValues, taxa_of
from growers.services.reference_table import TABLES, file_name, reference_tables

FOLDER = Path(__file__).resolve().parent.parent / "data"


@dataclass(frozen=True)
class ReferenceReport:
    """What a load did: rows by table, which tables were not as last loaded, and how many taxa it wrote."""

    row_counts: dict[str, int]
    changed_tables: tuple[str, ...]
    created: int = 0
    updated: int = 0
    unchanged: int = 0


def reference_load(*, folder: Path = FOLDER, force: bool = False) -> ReferenceReport:
    """Load the tables of a folder; if all files are as they were when last loaded, nothing is touched.

    Taxa are found again by name. A name that is no longer in the files stays, because plants may be of
    it. ``force`` loads unchanged files too.
    """
    contents = {table: _content(folder, table) for table in TABLES}
    stamps = {table: hashlib.sha256(content).hexdigest() for table, content in contents.items()}
    loaded = {row.table: row for row in ReferenceLoad.objects.filter(table__in=TABLES)}
    changed = tuple(table for table in TABLES if table not in loaded or loaded[table].sha256 != stamps[table])
    if not changed and not force:
        return ReferenceReport({table: loaded[table].row_count for table in TABLES}, ())
    tables = reference_tables(contents)
    taxa = taxa_of(tables)
    counts = tables.row_counts()
    with transaction.atomic():
        created, updated = _upsert(taxa)
        for table in changed or TABLES:
            _stamp(table, stamps[table], counts[table])
    return ReferenceReport(counts, changed, created, updated, len(taxa) - created - updated)


def _content(folder: Path, table: str) -> bytes:
    path = folder / file_name(table)
    if not path.is_file():
        raise InvalidInput(f"{path.name}: the file is missing from {folder}; needed: {', '.join(_files())}.")
    return path.read_bytes()


def _files() -> list[str]:
    return [file_name(table) for table in TABLES]


def _upsert(taxa: list[TaxonValues]) -> tuple[int, int]:
    """Write the taxa that are new or differ, and note each of them."""
    names = [taxon["name"] for taxon in taxa]
    stored = {row.name: row for row in Taxon.objects.select_for_update().filter(name__in=names)}
    new = [Taxon(**values) for values in taxa if values["name"] not in stored]
    differing = [row for values in taxa if (row := stored.get(values["name"])) and _differs(row, values)]
    Taxon.objects.bulk_create(new)
    Taxon.objects.bulk_update(differing, [name for name in TaxonValues.__annotations__ if name != "name"])
    change.note_all(Change.Kind.TAXON, [*new, *differing])
    return len(new), len(differing)


def _differs(row: Taxon, values: TaxonValues) -> bool:
    """Set the values on the row; whether any of them was different."""
    given: dict[str, Any] = dict(values)
    before = {name: getattr(row, name) for name in given}
    for name, value in given.items():
        setattr(row, name, value)
    return before != given


def _stamp(table: str, sha256: str, row_count: int) -> None:
    values = {"sha256": sha256, "row_count": row_count, "loaded_at": clock.now()}
    ReferenceLoad.objects.update_or_create(table=table, defaults=values)
