"""Every expected value has a source and says how far that was verified."""

import csv
import json
import math
import re
from pathlib import Path

import pytest

from tests.published import COLUMNS, FOLDER, STATUSES

TABLES = sorted(FOLDER.glob("*.csv"))
LEAST_ROWS = 150


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines, strict=True)
        found = list(reader)
    assert tuple(reader.fieldnames or ()) == COLUMNS
    return found


def faults(row: dict[str, str]) -> list[str]:
    """What is wrong with one row."""
    found = [
        f"{name} is empty"
        for name in COLUMNS
        if name not in {"unit", "inputs"} and not (row[name] or "").strip()
    ]
    if None in row or None in row.values():
        found.append("the number of columns differs from the heading")
    if row["status"] not in STATUSES:
        found.append(f"status is {row['status']!r}; allowed: {', '.join(STATUSES)}")
    if not re.fullmatch(r"[a-z0-9_]+", row["key"] or ""):
        found.append(f"key is {row['key']!r}; allowed: small letters, digits and _")
    return found + number_faults(row)


def number_faults(row: dict[str, str]) -> list[str]:
    """What is wrong with the numbers and inputs of one row."""
    found = []
    try:
        if not math.isfinite(float(row["value"])) or not 0.0 <= float(row["tolerance"]) < math.inf:
            found.append("value or tolerance is not a finite number")
        if not isinstance(json.loads(row["inputs"]), dict):
            found.append("inputs is not an object")
    except (TypeError, ValueError) as error:
        found.append(str(error))
    return found


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_every_row_is_complete(path: Path) -> None:
    found = rows(path)
    assert found
    wrong = [
        f"{path.name} row {number}: {fault}"
        for number, row in enumerate(found, start=2)
        for fault in faults(row)
    ]
    assert wrong == []


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_a_key_names_one_row(path: Path) -> None:
    keys = [row["key"] for row in rows(path)]
    assert len(keys) == len(set(keys))


def test_there_are_enough_rows() -> None:
    assert sum(len(rows(path)) for path in TABLES) >= LEAST_ROWS


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"author": ""}, "author is empty"),
        ({"locator": " "}, "locator is empty"),
        ({"year": ""}, "year is empty"),
        ({"status": ""}, "status is empty"),
        ({"status": "rumour"}, "status is 'rumour'; allowed: read, "),
        ({"value": "nan"}, "value or tolerance is not a finite number"),
        ({"tolerance": "-1"}, "value or tolerance is not a finite number"),
        ({"value": "many"}, "could not convert string to float"),
        ({"inputs": "[]"}, "inputs is not an object"),
    ],
)
def test_a_row_without_source_or_status_is_found(change: dict[str, str], fault: str) -> None:
    sound = dict.fromkeys(COLUMNS, "x") | {"inputs": "{}", "value": "1", "tolerance": "0", "status": "read"}
    assert faults(sound) == []
    assert any(fault in found for found in faults(sound | change))
