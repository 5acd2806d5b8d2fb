"""Packings as parcels are reckoned with: a box by its measures against the published table of common ones."""

from typing import Any, cast

import pytest

from exchange.models.offer import PackingPreset, Wall
from exchange.science.packing import DEFAULT_PACKING, UNCOOLED_PACKING, heat_conductance_w_k, most_ice_kg
from exchange.selectors.packing import box_shown, packing_of
from tests.published import Row, cases

WALLS = {0.035: Wall.POLYSTYRENE, 0.024: Wall.POLYURETHANE, 0.006: Wall.VACUUM_PANEL}
BOX: dict[str, Any] = {"wall": "polystyrene", "wall_cm": 5.0, "inside_cm": [15.0, 20.0, 10.0], "ice_kg": 1.5}


@pytest.mark.parametrize("row", cases("parcel", "heat_conductance"))
def test_a_measured_box_leaks_as_the_table_says(row: Row) -> None:
    said = row.inputs
    wall = WALLS[said["conductivity_w_m_k"]].value
    box = {"wall": wall, "wall_cm": said["wall_cm"], "inside_cm": said["inside_cm"], "ice_kg": 0.5}
    row.check(heat_conductance_w_k(packing_of("own_box", box)))


def test_the_table_has_each_wall_that_a_box_can_have() -> None:
    rows = (cast(Row, each.values[0]) for each in cases("parcel", "heat_conductance"))
    found = {row.inputs["conductivity_w_m_k"] for row in rows}
    assert found == set(WALLS)
    assert set(Wall) - set(WALLS.values()) == {Wall.PADDING}  # of envelopes


def test_the_usual_packings_are_those_of_the_models() -> None:
    assert packing_of("cold_box", None) is DEFAULT_PACKING
    assert packing_of("envelope", None) is UNCOOLED_PACKING


def test_what_a_packing_is_made_of_is_shown() -> None:
    assert box_shown("own_box", BOX) == BOX
    assert box_shown("cold_box", None) == {
        "wall": "polystyrene",
        "wall_cm": 3.0,
        "inside_cm": [10.0, 10.0, 10.0],
        "ice_kg": 0.5,
    }
    assert box_shown("envelope", None) == {
        "wall": "padding",
        "wall_cm": 0.5,
        "inside_cm": [15.0, 15.0, 1.0],
        "ice_kg": 0.0,
    }
    assert {preset.value for preset in PackingPreset} == {"cold_box", "envelope", "own_box"}


def test_ice_leaves_room_for_the_packet() -> None:
    # 3 litres, seven tenths of them ice of 0.917 kg a litre (from memory; the free share is practice).
    assert most_ice_kg((15.0, 20.0, 10.0)) == pytest.approx(1.9257, abs=1e-9)
