"""Picture of the climate data: the warmest month over the world, and month means with their curve."""

import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science.climate import MONTH_DAYS, climate_of, daily_air_temperature

PLACES = {
    "49° N, 1.5° E": (49.077, 1.53, "-"),
    "14° N, 100.5° E": (13.75, 100.52, "--"),
    "34° S, 151° E": (-33.87, 151.21, ":"),
}
STEP_DEG = 2.0


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "climate"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(3.0, 2.0))
    _map(figure, left)
    for name, (latitude_deg, longitude_deg, style) in PLACES.items():
        _year(right, latitude_deg, longitude_deg, style, name)
    right.set_title("month means (steps) and fitted curve, °C", fontsize="medium")
    right.set_xlabel("day of year")
    right.legend(frameon=False, fontsize="small")
    figure.savefig(path, metadata={"Date": None}, dpi=100)


def _map(figure: Figure, axes: Axes) -> None:
    latitudes = np.arange(-90.0 + STEP_DEG / 2.0, 90.0, STEP_DEG)
    longitudes = np.arange(-180.0 + STEP_DEG / 2.0, 180.0, STEP_DEG)
    warmest_c = np.array(
        [
            [climate_of(latitude, longitude).monthly_mean_c.max() for longitude in longitudes]
            for latitude in latitudes
        ]
    )
    image = axes.imshow(
        warmest_c, origin="lower", extent=(-180, 180, -90, 90), cmap="Greys", vmin=-30, vmax=40
    )
    axes.contour(longitudes, latitudes, warmest_c, levels=[15.0], colors="black", linewidths=0.7)
    figure.colorbar(image, ax=axes, orientation="horizontal", shrink=0.7)
    axes.set_title("mean of the warmest month, °C (line: 15 °C)", fontsize="medium")
    axes.set_xlabel("degrees east")
    axes.set_ylabel("degrees north")


def _year(axes: Axes, latitude_deg: float, longitude_deg: float, style: str, name: str) -> None:
    monthly_c = climate_of(latitude_deg, longitude_deg).monthly_mean_c
    edges = np.concatenate([[0.0], np.cumsum(MONTH_DAYS)]) + 1.0
    axes.stairs(monthly_c, edges, color="0.6", baseline=None)
    axes.plot(np.arange(1.0, 366.0), daily_air_temperature(monthly_c), style, color="black", label=name)


if __name__ == "__main__":
    draw(ROOT / "docs/science/climate.svg")
