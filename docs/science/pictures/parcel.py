"""Picture of the parcel model: temperature of the packet, and how much it ages, by packing."""

import sys
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science import constants
from exchange.science.parcel import (
    DEFAULT_PACKING,
    UNCOOLED_PACKING,
    Packing,
    ambient_temperature_c,
    parcel_temperature_c,
    thermal_age_in_parcel_days,
)

MONTHLY_MEAN_C = 20.0
HOURS = np.linspace(0.0, 96.0, 193)
PANEL = replace(DEFAULT_PACKING, conductivity_w_m_k=constants.CONDUCTIVITY_VACUUM_PANEL_W_M_K.value)
PACKINGS: dict[str, tuple[Packing, str]] = {
    "padded envelope, no ice": (UNCOOLED_PACKING, ":"),
    "1 litre, foam 3 cm, 0.5 kg ice": (DEFAULT_PACKING, "-"),
    "the same with 6 cm of foam": (replace(DEFAULT_PACKING, wall_cm=2.0 * DEFAULT_PACKING.wall_cm), "--"),
    "the same with vacuum panels": (PANEL, "-."),
}


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "parcel"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    left, right = figure.subplots(1, 2)
    ambient = ambient_temperature_c(MONTHLY_MEAN_C)
    q10 = np.array([constants.Q10.median])
    for label, (packing, style) in PACKINGS.items():
        age = thermal_age_in_parcel_days(packing, ambient, HOURS, q10)[0]
        left.plot(HOURS, parcel_temperature_c(packing, ambient, HOURS), style, color="black", label=label)
        right.plot(HOURS, age, style, color="black")
    _label(left, f"temperature of the packet, °C\n(month of {MONTHLY_MEAN_C:g} °C, taken as {ambient:g} °C)")
    _label(right, f"age gathered, equivalent days at 4 °C\n(Q10 {constants.Q10.median:g})")
    figure.legend(*left.get_legend_handles_labels(), loc="outside lower center", ncols=2, frameon=False)
    figure.savefig(path, metadata={"Date": None})


def _label(axes: Axes, quantity: str) -> None:
    axes.set_xlabel("hours since packing")
    axes.set_title(quantity, fontsize="medium")
    axes.set_xticks(np.arange(0.0, 97.0, 24.0))
    axes.set_ylim(bottom=0.0)


if __name__ == "__main__":
    draw(ROOT / "docs/science/parcel.svg")
