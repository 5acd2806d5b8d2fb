"""Everything that a client can read: every GET of the description, for every id given."""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from django.http import HttpResponse

from exchange.api.page import document
from tests.api.caller import ROOT, Caller

Ids = Mapping[str, Sequence[object]]
"""Public ids by the collection that they stand under in an address."""


REQUEST = "the-same-for-all"


@cache
def described() -> dict[str, Any]:
    """The description of the API; made once, because it takes seconds."""
    return document()


def addresses(ids: Ids) -> list[str]:
    """The address of every GET; one with an id for each id of its collection."""
    found: list[str] = []
    for path, item in described()["paths"].items():
        if "get" not in item:
            continue
        kind = path.removeprefix(ROOT).split("/")[1]
        found += [path.replace("{id}", str(each)) for each in ids.get(kind, ())] if "{id}" in path else [path]
    return found


def everything(api: Caller, ids: Ids) -> dict[str, bytes]:
    """Head and body of the answer at every address."""
    return {path: _raw(api.get(path, x_request_id=REQUEST).response) for path in addresses(ids)}


def _raw(response: HttpResponse) -> bytes:
    return b"\n".join((str(response.status_code).encode(), response.serialize_headers(), response.content))
