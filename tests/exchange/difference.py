"""What differs between two pictures of all tables, and what a picture says apart from numbers and times."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.apps import apps

from tests.exchange.refusal import Snapshot

Row = dict[str, Any]
Story = dict[str, list[str]]
IDENTITY = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
DIGEST = re.compile(r"\b[0-9a-f]{64}\b")
INSTANT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d[.\d]*(?:Z|\+00:00)?")
LEFT_OUT = (
    "id",
    "code",
    "thermal_age_days",
    "digest",
    "input_digest",
    "token_key",
    "password",
    "revision",
    "attempts",
)
"""Keys of rows, what is made of them or drawn by lot, and how often a worker was at it."""
SUBJECTS = {
    "agreement": "exchange_agreement",
    "bloom": "growers_plant",
    "detour": "exchange_detour",
    "grower": "growers_grower",
    "lot": "exchange_lot",
    "mail": "exchange_mailmessage",
    "matching_order": "exchange_matchingorder",
    "offer": "exchange_offer",
    "plant": "growers_plant",
    "shipment": "exchange_shipment",
    "site": "growers_site",
    "taxon": "growers_taxon",
    "wanted": "exchange_wantedcross",
    "weather": "growers_site",
    "webhook": "exchange_webhookdelivery",
}
"""Tables of the subjects of changes and due tasks, by their kind or its first word."""


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


def story(picture: Snapshot, *, without: Iterable[str] = ()) -> Story:
    """The same for two runs that came to the same end: no ids and no instants, references by rank."""
    ranks = {table: _ranks(rows) for table, rows in picture.items()}
    told = {table: sorted(_told(table, row, ranks) for row in rows) for table, rows in picture.items()}
    return {table: rows for table, rows in told.items() if table not in set(without)}


def unlike(one: Story, other: Story) -> Story:
    """Rows that only one of two stories has, by table; empty if they are the same."""
    apart = {table: sorted(set(one[table]) ^ set(other[table])) for table in one}
    uneven = {table: [f"{len(one[table])} rows and {len(other[table])}"] for table in one}
    return {table: apart[table] or uneven[table] for table in one if one[table] != other[table]}


def _told(table: str, row: Row, ranks: dict[str, dict[Any, int]]) -> str:
    references = _references(table)
    kept = {}
    for name, value in row.items():
        target = references.get(name)
        if name == "subject_id":
            kind = str(row["kind"])
            target = SUBJECTS.get(kind, SUBJECTS.get(kind.split("_")[0]))
        if target is not None:
            kept[name] = ranks[target].get(value)
        elif name not in LEFT_OUT:
            kept[name] = _plain(value)
    return repr(kept)


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | UUID | bytes | memoryview):
        return type(value).__name__
    return INSTANT.sub("an instant", DIGEST.sub("a digest", IDENTITY.sub("an id", repr(value))))


def _references(table: str) -> dict[str, str]:
    model = next(each for each in apps.get_models(include_auto_created=True) if each._meta.db_table == table)
    return {
        each.attname: each.related_model._meta.db_table
        for each in model._meta.concrete_fields
        if each.is_relation and each.related_model is not None
    }


def _ranks(rows: list[Row]) -> dict[Any, int]:
    return {key: rank for rank, key in enumerate(_by_key(rows))}


def _by_key(rows: list[Row]) -> dict[Any, Row]:
    """By the primary key, which is ``id`` everywhere but in the tokens."""
    return {row.get("id", row.get("digest")): row for row in rows}
