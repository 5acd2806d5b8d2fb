"""Which columns of a logger's table hold the time and the temperature."""

import re
from collections.abc import Sequence
from itertools import pairwise

from exchange.science.logger_number import heading_unit
from exchange.science.logger_table import CellKind

OTHER_QUANTITY = re.compile(
    r"hum|feucht|%|\br\.?[hf]\b|dew|taupunkt|ros[eé]e|roc[ií]o|rugiada|wet.?bulb|press|lux|light|co2|volt|batt",
    re.IGNORECASE,
)
NO_MEASUREMENT = re.compile(
    r"alarm|limit|set.?point|index|mark|event|serial|\bcount|^(?:no|nr|n|#|id|row|rec(?:ord)?|sample|reading)\b\.?",
    re.IGNORECASE,
)
TEMPERATURE_WORD = re.compile(r"temp|celsius|fahrenheit|kelvin", re.IGNORECASE)
EPOCH_WORD = re.compile(r"epoch|unix|time|date|stamp", re.IGNORECASE)


def time_candidates(columns: Sequence[str], kinds: Sequence[CellKind]) -> list[tuple[int, ...]]:
    """Places of columns that hold a time: alone, or a date with a time of day after it.

    Seconds since 1970 count only if their heading says so or nothing else holds a time.
    """
    whole: list[tuple[int, ...]] = [(place,) for place, kind in enumerate(kinds) if kind == "stamp"]
    pairs: list[tuple[int, ...]] = [
        (place, place + 1)
        for place in range(len(kinds) - 1)
        if kinds[place] == "date" and kinds[place + 1] == "time"
    ]
    epochs: list[tuple[int, ...]] = [(place,) for place, kind in enumerate(kinds) if kind == "epoch"]
    named = [each for each in epochs if EPOCH_WORD.search(columns[each[0]])]
    return [*whole, *pairs, *named] or epochs


def is_other_quantity(heading: str) -> bool:
    """Whether a heading names something that is measured and is no temperature of air."""
    return bool(OTHER_QUANTITY.search(heading))


def temperature_candidates(
    columns: Sequence[str], kinds: Sequence[CellKind], rows: Sequence[Sequence[str]]
) -> list[int]:
    """Places of columns that may hold the temperature: those whose heading says so, else any left over."""
    numeric = [
        place
        for place, kind in enumerate(kinds)
        if kind == "number" and not is_other_quantity(columns[place])
    ]
    named = [place for place in numeric if says_temperature(columns[place])]
    if named:
        return named
    measured = [place for place in numeric if not NO_MEASUREMENT.search(columns[place])]
    return [place for place in measured if not _counts_up(rows, place)]


def says_temperature(heading: str) -> bool:
    """Whether a heading names a measured temperature or its unit."""
    if NO_MEASUREMENT.search(heading):
        return False
    return bool(TEMPERATURE_WORD.search(heading)) or heading_unit(heading) is not None


def _counts_up(rows: Sequence[Sequence[str]], place: int) -> bool:
    cells = [row[place] for row in rows if place < len(row)]
    if len(cells) < 2 or not all(cell.isascii() and cell.isdigit() for cell in cells):
        return False
    numbers = [int(cell) for cell in cells]
    steps = {after - before for before, after in pairwise(numbers)}
    return steps in ({1}, {-1})
