"""What is another between two pictures of all tables."""

from dataclasses import dataclass, field
from typing import Any

from tests.exchange.refusal import Snapshot

Row = dict[str, Any]


@dataclass
class Difference:
    """Rows added, changed (as they were and as they are) and removed, by table."""

    added: dict[str, list[Row]] = field(default_factory=dict)
    changed: dict[str, list[tuple[Row, Row]]] = field(default_factory=dict)
    removed: dict[str, list[Row]] = field(default_factory=dict)

    def counts(self) -> dict[str, tuple[int, int, int]]:
        """How many rows were added, changed and removed, of each table where any were."""
        found = {
            table: (len(self.added[table]), len(self.changed[table]), len(self.removed[table]))
            for table in self.added
        }
        return {table: counts for table, counts in found.items() if any(counts)}

    def columns_changed(self) -> dict[str, set[str]]:
        """The columns that differ in rows that were there before."""
        return {
            table: {name for was, now in pairs for name in was if was[name] != now[name]}
            for table, pairs in self.changed.items()
            if pairs
        }


def difference(before: Snapshot, after: Snapshot) -> Difference:
    """What happened between two pictures."""
    found = Difference()
    for table in before:
        were, are = _by_key(before[table]), _by_key(after[table])
        found.added[table] = [row for key, row in are.items() if key not in were]
        found.removed[table] = [row for key, row in were.items() if key not in are]
        both = [(were[key], are[key]) for key in were if key in are]
        found.changed[table] = [(was, now) for was, now in both if was != now]
    return found


def _by_key(rows: list[Row]) -> dict[Any, Row]:
    """By the first column, which is the primary key in all our tables but the tokens'."""
    return {row.get("id", row.get("digest")): row for row in rows}
