"""Cells with a temperature: its number, its decimal mark, its unit."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from exchange.science import constants
from exchange.science.arrays import FloatArray

DecimalMark = Literal[".", ","]
Unit = Literal["C", "F", "K"]

UNITS: dict[str, Unit] = {"C": "C", "℃": "C", "F": "F", "℉": "F", "K": "K"}
DEGREE = r"(?:[°º˚\ufffd]|deg(?:rees?)?\.?)"
NUMBER = re.compile(
    rf"([+−-]?)([0-9]{{1,6}})(?:([.,])([0-9]{{1,12}}))?(?:\s{{0,3}}{DEGREE}?\s{{0,3}}([CFKcfk℃℉]))?"
)
UNIT_IN_HEADING = re.compile(
    rf"{DEGREE}\s{{0,3}}([CFK])(?![A-Za-z])|([℃℉])|[(\[]\s{{0,3}}([CFK])\s{{0,3}}[)\]]|(?:^|[\s_,/.-])([CFK])$",
    re.IGNORECASE,
)
UNIT_WORDS: tuple[tuple[str, Unit], ...] = (("celsius", "C"), ("fahrenheit", "F"), ("kelvin", "K"))


@dataclass(frozen=True)
class Numbers:
    """A column of numbers: shape (k,) each; NaN where the cell is none, "" where it names no unit."""

    value: FloatArray
    unit: NDArray[np.str_]


def numbers_of(cells: Sequence[str], mark: DecimalMark | None) -> Numbers:
    """Read a column of numbers; ``None`` takes either decimal mark."""
    distinct = {cell: _number(cell, mark) for cell in set(cells)}
    found = [distinct[cell] for cell in cells]
    value = np.array([each[0] for each in found], dtype=np.float64)
    return Numbers(value, np.array([each[1] for each in found], dtype="<U1"))


def _number(cell: str, mark: DecimalMark | None) -> tuple[float, str]:
    match = NUMBER.fullmatch(cell)
    if match is None or (mark and match[3] not in (mark, None)):
        return np.nan, ""
    sign = "+" if match[1] in ("", "+") else "-"
    return float(f"{sign}{match[2]}.{match[4] or 0}"), UNITS.get((match[5] or "").upper(), "")


def decimal_marks(cells: Iterable[str]) -> set[str]:
    """The decimal marks that stand in the numbers among these cells."""
    matches = (NUMBER.fullmatch(cell) for cell in set(cells))
    return {match[3] for match in matches if match is not None and match[3]}


def heading_unit(heading: str) -> Unit | None:
    """The unit a heading names: ``°C``, ``degF``, ``(K)``, ``temp_c``, ``Celsius``; None if none."""
    for word, unit in UNIT_WORDS:
        if word in heading.casefold():
            return unit
    match = UNIT_IN_HEADING.search(heading)
    return None if match is None else UNITS[next(each for each in match.groups() if each).upper()]


def in_celsius(value: FloatArray, unit: Unit) -> FloatArray:
    """Degrees Celsius of numbers in a unit, shape kept."""
    if unit == "F":
        return (value - constants.FAHRENHEIT_ZERO.value) / constants.FAHRENHEIT_DEGREES.value
    return value - constants.KELVIN_OFFSET.value if unit == "K" else value


def fahrenheit_suspected(value: FloatArray) -> bool:
    """Whether numbers taken for °C look like a chilled parcel in °F.

    Parameters
    ----------
    value : FloatArray
        Shape (k,), as written; NaN is passed over.

    Returns
    -------
    bool
        True if none is below 20 and half of them or more lie in 33–50 (judgement).
    """
    known = value[np.isfinite(value)]
    if not known.size or known.min() < constants.LOGGER_FAHRENHEIT_NEVER_BELOW.value:
        return False
    low, high = constants.LOGGER_FAHRENHEIT_LOW.value, constants.LOGGER_FAHRENHEIT_HIGH.value
    return bool(np.mean((known >= low) & (known <= high)) >= 0.5)
