"""A postal address as it is checked, sealed and opened; clear text of it is never stored."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, TypedDict

from exchange.services.cipher import decrypted, encrypted
from growers import place
from growers.services.problem import Problems
from growers.services.row import is_printable, text_tidied

MOST_LINES = 4
LONGEST = {"name": 100, "lines": 100, "postal_code": 20, "town": 80}
"""Characters of a field, or of one of the lines."""


class AddressFields(TypedDict, total=False):
    """What a grower may state of where they have parcels sent to."""

    name: str
    lines: Sequence[str]
    postal_code: str
    town: str
    country: str


@dataclass(frozen=True, slots=True)
class PostalAddress:
    """Where parcels go; the postal code is blank where there is none, the country an ISO code."""

    name: str = ""
    lines: tuple[str, ...] = ()
    postal_code: str = ""
    town: str = ""
    country: str = ""

    def __repr__(self) -> str:
        """Nothing of it: it must not get into a log."""
        return "PostalAddress(…)"


def address_changed(address: PostalAddress, fields: Mapping[str, Any]) -> PostalAddress:
    """An address with other fields, tidied and checked.

    Raises ``InvalidInput`` naming each field that is missing, too long or not printable, without its value.
    """
    fresh = replace(address, **{name: _tidied(value) for name, value in fields.items()})
    problems = Problems()
    for name in ("name", "postal_code", "town"):
        _text_check(name, getattr(fresh, name), problems)
    _lines_check(fresh.lines, problems)
    if fresh.country not in place.countries():
        _refuse("country", "an ISO 3166 code of two capital letters such as FR", problems)
    problems.refuse_if_any()
    return fresh


def address_sealed(address: PostalAddress) -> bytes:
    """An address as it is stored."""
    return encrypted(json.dumps(asdict(address)).encode())


def address_opened(sealed: bytes | memoryview) -> PostalAddress:
    """A stored address; ``ValueError`` if none of the keys fits."""
    kept = json.loads(decrypted(bytes(sealed)))
    return PostalAddress(**{**kept, "lines": tuple(kept["lines"])})


def _tidied(value: str | Sequence[str]) -> Any:
    return text_tidied(value) if isinstance(value, str) else tuple(map(text_tidied, value))


def _text_check(name: str, text: str, problems: Problems) -> None:
    shortest = 0 if name == "postal_code" else 1
    if not shortest <= len(text) <= LONGEST[name] or not is_printable(text):
        _refuse(name, f"{shortest} to {LONGEST[name]} printable characters", problems)


def _lines_check(lines: Sequence[str], problems: Problems) -> None:
    fit = all(0 < len(line) <= LONGEST["lines"] and is_printable(line) for line in lines)
    if not 1 <= len(lines) <= MOST_LINES or not fit:
        allowed = f"1 to {MOST_LINES} lines of 1 to {LONGEST['lines']} printable characters"
        _refuse("lines", allowed, problems)


def _refuse(name: str, allowed: str, problems: Problems) -> None:
    detail = f"{name} does not fit; allowed: {allowed}."
    problems.add_sentence(name, "not_allowed", detail, allowed=allowed)
