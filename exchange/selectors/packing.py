"""How parcels are packed: the usual box and envelope, or a box that its donor has measured."""

from collections.abc import Mapping
from typing import Any

from exchange.models.offer import PackingPreset, Wall
from exchange.science import constants
from exchange.science.packing import DEFAULT_PACKING, UNCOOLED_PACKING, Packing

CONDUCTIVITIES_W_M_K: Mapping[str, float] = {
    Wall.POLYSTYRENE: constants.CONDUCTIVITY_EPS_W_M_K.value,
    Wall.POLYURETHANE: constants.CONDUCTIVITY_POLYURETHANE_W_M_K.value,
    Wall.VACUUM_PANEL: constants.CONDUCTIVITY_VACUUM_PANEL_W_M_K.value,
    Wall.PADDING: constants.CONDUCTIVITY_PADDING_W_M_K.value,
}
WALLS = {conductivity: wall for wall, conductivity in CONDUCTIVITIES_W_M_K.items()}
PACKINGS = {PackingPreset.COLD_BOX: DEFAULT_PACKING, PackingPreset.ENVELOPE: UNCOOLED_PACKING}

Box = Mapping[str, Any]


def packing_of(preset: str, box: Box | None) -> Packing:
    """What a parcel is reckoned with; ``box`` is that of ``own_box``."""
    if box is None:
        return PACKINGS[PackingPreset(preset)]
    length, width, height = box["inside_cm"]
    return Packing(
        inside_cm=(length, width, height),
        wall_cm=box["wall_cm"],
        conductivity_w_m_k=CONDUCTIVITIES_W_M_K[box["wall"]],
        ice_kg=box["ice_kg"],
    )


def box_shown(preset: str, box: Box | None) -> Box:
    """Wall, size and coolant of a packing, of the usual ones too."""
    packing = packing_of(preset, box)
    return {
        "wall": WALLS[packing.conductivity_w_m_k],
        "wall_cm": packing.wall_cm,
        "inside_cm": list(packing.inside_cm),
        "ice_kg": packing.ice_kg,
    }
