"""The tables of the demo, cut down to two growers, and spoiled on purpose."""

import csv
import shutil
from collections.abc import Mapping
from pathlib import Path

from exchange.management.commands.demo import FOLDER

GROWERS = {"weiherhof", "loire-bassin"}
OFFERS = {"loire-bassin B1", "weiherhof W2"}
CROSSES = {"weiherhof W1", "loire-bassin B4", "loire-bassin B5"}
Rows = list[dict[str, str]]


def tables_copy(folder: Path) -> Path:
    """All tables of the demo in a folder of their own."""
    shutil.copytree(FOLDER, folder, dirs_exist_ok=True)
    return folder


def small_tables(folder: Path) -> Path:
    """Two growers, two offers and three wanted crosses: one pairing, kin, a sterile seed parent."""
    for path in tables_copy(folder).glob("*.csv"):
        table_write(path, [row for row in table_read(path) if _is_kept(path.stem, row)])
    return folder


def _is_kept(table: str, row: Mapping[str, str]) -> bool:
    first = next(iter(row.values()))
    if table == "offer":
        return first in OFFERS
    if table == "wanted_cross":
        return first in CROSSES and not row["traits"]
    return table in ("cultivar", "border_note") or first.split()[0] in GROWERS


def table_read(path: Path) -> Rows:
    """The rows of one table."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def table_write(path: Path, rows: Rows) -> None:
    """Write the rows of one table under the columns that the table has."""
    with path.open(encoding="utf-8", newline="") as file:
        columns = next(csv.reader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def cell_write(folder: Path, table: str, row: int, column: str, value: str) -> None:
    """Put a value into one cell; rows count from 1, the header, as in a spreadsheet."""
    path = folder / f"{table}.csv"
    rows = table_read(path)
    rows[row - 2][column] = value
    table_write(path, rows)


def column_drop(folder: Path, table: str, column: str) -> None:
    """Take one column out of a table."""
    path = folder / f"{table}.csv"
    rows = [{name: cell for name, cell in row.items() if name != column} for row in table_read(path)]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
