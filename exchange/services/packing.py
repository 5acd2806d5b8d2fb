"""A box that its donor has measured: stated as a whole, and only where they pack in it."""

from collections.abc import Mapping
from typing import Any, Protocol

from exchange.models.offer import PackingPreset, Wall
from exchange.science.packing import most_ice_kg
from growers.services.problem import Problems

THINNEST_WALL_CM, THICKEST_WALL_CM = 0.2, 20.0
SHORTEST_CM, LONGEST_CM = 1.0, 100.0
MOST_ICE_KG = 50.0
NAMES = {"wall", "wall_cm", "inside_cm", "ice_kg"}


class Packed(Protocol):
    """An offer or a parcel."""

    packing: str
    box: Any


def box_check(row: Packed, problems: Problems, *, stated: bool) -> None:
    """Note what is wrong with the box of a row; one that was not stated now goes with another packing."""
    if row.packing != PackingPreset.OWN_BOX and not stated:
        row.box = None
    elif row.packing != PackingPreset.OWN_BOX:
        if row.box is not None:
            problems.add("box", row.box, f"none with {row.packing}; only own_box has one")
    elif row.box is None:
        problems.add("box", None, "wall, wall_cm, inside_cm and ice_kg of your box")
    elif not isinstance(row.box, Mapping) or set(row.box) != NAMES:
        problems.add("box", row.box, "wall, wall_cm, inside_cm and ice_kg, and nothing else")
    else:
        _measures_check(row.box, problems)
        row.box = dict(row.box)


def _measures_check(box: Mapping[str, Any], problems: Problems) -> None:
    found = len(problems.found)
    if box["wall"] not in Wall.values:
        problems.add("box/wall", box["wall"], ", ".join(Wall.values))
    _number_check("box/wall_cm", box["wall_cm"], THINNEST_WALL_CM, THICKEST_WALL_CM, problems)
    _number_check("box/ice_kg", box["ice_kg"], 0.0, MOST_ICE_KG, problems)
    sides = box["inside_cm"]
    if not isinstance(sides, list | tuple) or len(sides) != 3:
        problems.add("box/inside_cm", sides, "length, width and height")
        return
    for place, side in enumerate(sides):
        _number_check(f"box/inside_cm/{place}", side, SHORTEST_CM, LONGEST_CM, problems)
    if len(problems.found) == found and box["ice_kg"] > (most := most_ice_kg(tuple(sides))):
        allowed = f"at most {most:.2f} kg in a box of that size, which leaves room for the packet"
        problems.add("box/ice_kg", box["ice_kg"], allowed)


def _number_check(name: str, value: object, low: float, high: float, problems: Problems) -> None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not low <= value <= high:  # type: ignore[operator]
        problems.add(name, value, f"{low:g} to {high:g}")
