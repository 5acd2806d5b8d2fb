"""Picture of the pond model: a normal year of air and of three waters, and the seasons they allow."""

import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science import constants
from exchange.science.climate import climate_of, daily_air_temperature
from exchange.science.climate_season import climate_season
from exchange.science.pond import pond_temperature

PLACES = {"49° N, 1.5° E": (49.077, 1.53), "34° S, 151° E": (-33.87, 151.21)}
WATERS = (
    (f"tub, {constants.RESPONSE_TUB_DAYS.value:g} days", constants.RESPONSE_TUB_DAYS.value, ":"),
    (f"pond, {constants.RESPONSE_POND_DAYS.value:g} days", constants.RESPONSE_POND_DAYS.value, "-"),
    (f"larger, {constants.RESPONSE_LARGE_DAYS.value:g} days", constants.RESPONSE_LARGE_DAYS.value, "--"),
)
DAYS = np.arange(1.0, 366.0)
SEASON_HEIGHT_C = 1.0


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "pond"
    figure = Figure(figsize=(9.0, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True)
    for axes, (name, (latitude_deg, longitude_deg)) in zip((left, right), PLACES.items(), strict=True):
        _place(axes, latitude_deg, longitude_deg)
        axes.set_title(f"normal year at {name}, °C", fontsize="medium")
        axes.set_xlabel("day of year")
        axes.set_xlim(1.0, 365.0)
    figure.legend(*left.get_legend_handles_labels(), loc="outside lower center", ncols=3, frameon=False)
    figure.savefig(path, metadata={"Date": None})


def _place(axes: Axes, latitude_deg: float, longitude_deg: float) -> None:
    monthly_c = climate_of(latitude_deg, longitude_deg).monthly_mean_c
    air_c = daily_air_temperature(monthly_c)
    axes.plot(DAYS, air_c, color="0.6", linewidth=2.5, label="air")
    for label, response_days, style in WATERS:
        axes.plot(DAYS, pond_temperature(air_c, response_days), style, color="black", label=label)
    axes.axhline(
        constants.HARDY_START_WATER_C.value, color="0.4", linewidth=0.7, label="hardy start, 16 °C water"
    )
    season = climate_season(monthly_c, "hardy", latitude_deg)
    first, last = season.first_day_of_year, season.last_day_of_year
    spans = [(first, last)] if first <= last else [(first, 365.0), (1.0, last)]
    for index, (begin, end) in enumerate(spans):
        season_label = "hardy season expected (pond), sd 20 d" if index == 0 else None
        axes.plot(
            [begin, end],
            [SEASON_HEIGHT_C] * 2,
            color="black",
            linewidth=5.0,
            solid_capstyle="butt",
            label=season_label,
        )


if __name__ == "__main__":
    draw(ROOT / "docs/science/pond.svg")
