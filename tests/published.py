"""Published and independently computed values that the tests hold the project against.

Each row of ``fixtures/published/*.csv`` is one value with its unit, tolerance, source and the
status of that source. ``Row.check`` asserts it and counts it; the report of the test run prints
how many different rows were asserted (see ``tests/conftest.py``).
"""

import csv
import json
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "published"
COLUMNS = ("key", "quantity", "inputs", "value", "unit", "tolerance", "author", "year", "locator", "status")
STATUSES = ("read", "abstract", "memory", "practice", "judgement", "definition", "computed")


@dataclass(frozen=True)
class Row:
    """One expected value with where it comes from."""

    area: str
    key: str
    quantity: str
    inputs: dict[str, Any]
    value: float
    unit: str
    tolerance: float
    author: str
    year: str
    locator: str
    status: str

    @property
    def source(self) -> str:
        """Author, year, table or page, and how far it was verified."""
        return f"{self.author} {self.year}, {self.locator} [{self.status}]"

    def check(self, actual: float) -> None:
        """Assert that ``actual`` is the published value within its tolerance, and count the check."""
        number = float(actual)
        assert math.isfinite(number) and abs(number - self.value) <= self.tolerance, (
            f"{self.area}/{self.key}: {number!r} is not {self.value!r} ± {self.tolerance!r} ({self.source})"
        )
        asserted.add((self.area, self.key))


asserted: set[tuple[str, str]] = set()


@cache
def published(area: str) -> tuple[Row, ...]:
    """All rows of ``fixtures/published/<area>.csv``."""
    with (FOLDER / f"{area}.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(
            Row(
                area=area,
                key=line["key"],
                quantity=line["quantity"],
                inputs=json.loads(line["inputs"]),
                value=float(line["value"]),
                unit=line["unit"],
                tolerance=float(line["tolerance"]),
                author=line["author"],
                year=line["year"],
                locator=line["locator"],
                status=line["status"],
            )
            for line in csv.DictReader(lines)
        )


def cases(area: str, *quantities: str) -> list[Any]:
    """Rows of an area as parameters of a test, only the named quantities if any are named."""
    rows = published(area)
    return [pytest.param(row, id=row.key) for row in rows if not quantities or row.quantity in quantities]
