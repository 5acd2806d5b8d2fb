"""Calls every row of the access matrix as every viewer; each call leaves the society as it was."""

import re
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

from django.apps import apps
from django.core.cache import cache
from django.db import connection, models, transaction

from exchange.models import ApiToken, IdempotentAnswer
from tests.api.access import ROWS, Row
from tests.api.access_key import table_content
from tests.api.access_member import VIEWERS
from tests.api.access_society import Society
from tests.api.caller import Answer

REQUEST_ID = "the-same-request"
TIME_OF_DAY = re.compile(r"T\d\d:\d\d:\d\d\.\d+")
NAMED = re.compile(r"\{(\w+)\}")
KINDS = {"seed_parent": "plant", "pollen_parent": "plant", "pollen_plant": "plant", "pollen_taxon": "taxon"}
"""What an id in a body that the document shows is of, where its name does not say it."""

Operations = Mapping[tuple[str, str], dict[str, Any]]
"""The operations of the document by method and path."""


@dataclass(frozen=True)
class Seen:
    """One answer to one viewer, the tables that differ after it, and the answer where no such row exists."""

    row: Row
    viewer: str
    operation: str
    answer: Answer
    changed: tuple[str, ...]
    of_nothing: Answer | None

    @property
    def name(self) -> str:
        return f"{self.row.operation} as {self.viewer}"

    @property
    def content(self) -> Any:
        """The body, a table as rows, a file as its text."""
        kind = self.answer["Content-Type"]
        if kind.startswith("text/csv"):
            return table_content(self.answer.text)
        return self.answer.body if kind.endswith("json") else {"text": self.answer.text}

    @property
    def told(self) -> str:
        """All that went out, without the ids that the viewer sent in the address and without times of day.

        Seconds with their fraction would now and then read like a latitude.
        """
        text = whole(self.answer).replace(self.answer.response.request["PATH_INFO"], "")  # type: ignore[attr-defined]
        return TIME_OF_DAY.sub("T", text)


def whole(answer: Answer) -> str:
    """An answer with headers and cookies."""
    response = answer.response
    return f"{answer.status} {sorted(response.items())} {response.cookies} {answer.text}"


def address(path: str) -> str:
    """The path of a row as the document has it."""
    return NAMED.sub("{id}", path.partition("?")[0])


def all_seen(society: Society, operations: Operations) -> list[Seen]:
    """The answers to all rows that are operations of the document."""
    known = [row for row in ROWS if (row.method, address(row.path)) in operations]
    before = database_state()
    return [seen_of(society, row, viewer, operations, before) for row in known for viewer in VIEWERS]


def seen_of(
    society: Society, row: Row, viewer: str, operations: Operations, before: Mapping[str, bytes]
) -> Seen:
    """One call and what it did, undone."""
    described = operations[row.method, address(row.path)]
    body = filled(row.body or shown_body(described), society.ids.__getitem__)
    with undone():
        answer = sent(society, viewer, row.method, filled(row.path, society.ids.__getitem__), body)
        after = database_state()
    of_nothing = None
    if answer.status == 404:
        with undone():
            nowhere = filled(row.path, lambda _name: str(uuid.uuid4()))
            of_nothing = sent(society, viewer, row.method, nowhere, body)
    changed = tuple(sorted(name for name in after if after[name] != before[name]))
    return Seen(row, viewer, described["operationId"], answer, changed, of_nothing)


@contextmanager
def undone() -> Iterator[None]:
    """What happens inside leaves nothing, and counts for no limit."""
    cache.clear()
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def sent(society: Society, viewer: str, method: str, path: str, body: Any) -> Answer:
    """One request with all headers that any operation asks for; with a table in the body it is a form."""
    client = society.clients[viewer]
    headers = {"x_request_id": REQUEST_ID, "idempotency_key": str(uuid.uuid4()), "if_match": "*"}
    if isinstance(body, dict) and "file" in body:
        stated = {name: value for name, value in body.items() if name != "file"}
        stated |= {f"header_{name}": value for name, value in headers.items()}
        return client.upload(path, body["file"], **stated)
    return client.call(method, path, body, **headers)


def shown_body(described: Mapping[str, Any]) -> Any:
    """The first body that the document shows, with names of rows in place of ids."""
    for kind in described.get("requestBody", {}).get("content", {}).values():
        shown = next(iter(kind["examples"].values()))["value"]
        return {name: _row_named(name, value) for name, value in shown.items()}
    return None


def _row_named(field: str, value: Any) -> Any:
    name, is_id, several = field.rpartition("_id")
    if not is_id or several not in ("", "s"):
        return value
    placed = f"{{{KINDS.get(name, name)}}}"
    return [placed] if several else placed


def filled(value: Any, id_of: Callable[[str], str]) -> Any:
    """The value with the ids of the rows that it names in braces."""
    if isinstance(value, str):
        return NAMED.sub(lambda found: id_of(found[1]), value)
    if isinstance(value, list):
        return [filled(part, id_of) for part in value]
    if isinstance(value, dict):
        return {name: filled(part, id_of) for name, part in value.items()}
    return value


def database_state() -> dict[str, bytes]:
    """A hash of all rows by table; when a token was last used and kept answers are no matter."""
    with connection.cursor() as cursor:
        return {
            model._meta.db_table: _hash(model, cursor)
            for model in apps.get_models(include_auto_created=True)
            if model is not IdempotentAnswer
        }


def _hash(model: type[models.Model], cursor: Any) -> bytes:
    columns = [field.column for field in model._meta.concrete_fields]
    if model is ApiToken:
        columns.remove("last_used_at")
    words = [*columns, model._meta.db_table, model._meta.pk.column]
    *names, table, key = (connection.ops.quote_name(str(word)) for word in words)
    cursor.execute(f"SELECT {', '.join(names)} FROM {table} ORDER BY {key}")
    return blake2b(repr(cursor.fetchall()).encode(), digest_size=16).digest()
