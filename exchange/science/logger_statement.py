"""What the lines above a logger's table state of its zone and its unit."""

import re
from collections.abc import Sequence
from typing import TypeVar

from exchange.science.logger_number import Unit, heading_unit
from exchange.science.logger_zone import fixed_offset_seconds, zone_is_known

Statement = TypeVar("Statement")

KEY_END = re.compile(r"[:;,\t=|]")
AROUND = ' "#:;,\t=|'
ZONE_KEY = re.compile(r"zone|\b(?:utc|gmt)\b", re.IGNORECASE)
UNIT_KEY = re.compile(r"\bunit", re.IGNORECASE)
ZONE_NAME = re.compile(r"\b[A-Z][A-Za-z_]+(?:/[A-Za-z_+0-9-]+)+")
OFFSET = re.compile(r"\(?(?:UTC|GMT)?\s*([+−-])\s*([0-9]{1,2})(?::?([0-9]{2}))?(?:\s*h)?\)?", re.IGNORECASE)
UTC_WORD = re.compile(r"\(?(?:UTC|GMT|Z)\)?", re.IGNORECASE)
ZONE_IN_HEADING = re.compile(
    r"\b(?:UTC|GMT)(?:\s*[+−-]\s*[0-9]{1,2}(?::?[0-9]{2})?)?(?![0-9A-Za-z])", re.IGNORECASE
)


def zone_in(text: str) -> str | None:
    """The zone a value names: ``Europe/Berlin``, ``UTC``, ``+02:00``; None if it names none.

    A label such as ``(UTC+01:00) Paris`` is none: summer time may or may not be meant.
    """
    name = ZONE_NAME.search(text)
    if name and zone_is_known(name[0]):
        return name[0]
    if UTC_WORD.fullmatch(text):
        return "UTC"
    match = OFFSET.fullmatch(text)
    if match is None:
        return None
    zone = f"{match[1].replace('−', '-')}{int(match[2]):02d}:{match[3] or '00'}"
    return zone if fixed_offset_seconds(zone) is not None else None


def stated_zones(lines: Sequence[str]) -> list[tuple[str, int]]:
    """Zones that lines such as ``Time zone: UTC+02:00`` state, each once, with the line."""
    return _stated([(row, zone_in(value)) for row, value in _values(lines, ZONE_KEY)])


def stated_units(lines: Sequence[str]) -> list[tuple[Unit, int]]:
    """Units that lines such as ``Temperature unit: °C`` state, each once, with the line."""
    return _stated([(row, heading_unit(value)) for row, value in _values(lines, UNIT_KEY)])


def zone_of_heading(heading: str) -> str | None:
    """The zone in a heading such as ``Time (UTC)`` or ``Date Time, GMT-05:00``."""
    match = ZONE_IN_HEADING.search(heading)
    return None if match is None else zone_in(match[0])


def _values(lines: Sequence[str], key: re.Pattern[str]) -> list[tuple[int, str]]:
    found = []
    for row, line in enumerate(lines, start=1):
        name, *value = KEY_END.split(line, maxsplit=1)
        if value and key.search(name):
            found.append((row, value[0].strip(AROUND)))
    return found


def _stated(found: Sequence[tuple[int, Statement | None]]) -> list[tuple[Statement, int]]:
    first: dict[Statement, int] = {}
    for row, value in found:
        if value is not None:
            first.setdefault(value, row)
    return list(first.items())
