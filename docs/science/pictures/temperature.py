"""Picture of thermal age: how fast pollen is taken to age, and what one hot afternoon costs."""

import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science.arrays import FloatArray
from exchange.science.constants import KINETIC_ACTIVATION_ENERGY
from exchange.science.kinetic_temperature import arrhenius_factor
from exchange.science.seed_longevity import seed_longevity_ratio
from exchange.science.thermal_age import logged_age, rate_factor
from exchange.science.viability import prior_draws
from exchange.science.weighted import weighted_quantile

DEGREES = np.linspace(-20.0, 40.0, 121)
# An invented log of four days: a refrigerator, an afternoon in a hot van, a cool room.
HOURS = np.array([0.0, 36.0, 38.0, 44.0, 46.0, 96.0])
LOGGED_C = np.array([5.0, 5.0, 34.0, 34.0, 10.0, 10.0])


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "temperature"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    left, right = figure.subplots(1, 2)
    _rates(left)
    _log(right)
    figure.savefig(path, metadata={"Date": None})


def _rates(axes: Axes) -> None:
    draws = prior_draws("dried")
    factor = rate_factor(DEGREES, draws.q10)
    low, middle, high = (weighted_quantile(factor, draws.weight, share) for share in (0.1, 0.5, 0.9))
    axes.fill_between(DEGREES, low, high, color="0.85", label="used here, 10–90 %")
    axes.plot(DEGREES, middle, color="black", label="its median")
    seed = [seed_longevity_ratio(degree, 4.0) for degree in DEGREES]
    axes.plot(DEGREES, seed, "--", color="black", label="seeds (Dickie et al. 1990)")
    convention = arrhenius_factor(DEGREES, 4.0, KINETIC_ACTIVATION_ENERGY.value)
    axes.plot(DEGREES, convention, ":", color="black", label="convention for drugs")
    axes.set_yscale("log")
    axes.set_title("days of age at 4 °C that one day costs", fontsize="medium")
    axes.set_xlabel("°C")
    axes.legend(frameon=False, fontsize="small")


def _log(axes: Axes) -> None:
    draws = prior_draws("dried")
    grid = np.linspace(HOURS[0], HOURS[-1], 97)[1:]
    ages = np.column_stack([_age_until(hour, draws.q10) for hour in grid])
    low, middle, high = (weighted_quantile(ages, draws.weight, share) for share in (0.1, 0.5, 0.9))
    axes.fill_between(grid, low, high, color="0.85", label="age, 10–90 %")
    axes.plot(grid, middle, color="black", label="its median, equivalent days at 4 °C")
    axes.set_xlabel("hours")
    axes.set_title("a logged parcel (invented)", fontsize="medium")
    beside = axes.twinx()
    beside.plot(HOURS, LOGGED_C, "--", color="black", label="°C (right)")
    beside.set_ylim(0.0, 70.0)
    handles, labels = axes.get_legend_handles_labels()
    more, names = beside.get_legend_handles_labels()
    axes.legend(handles + more, labels + names, frameon=False, fontsize="small", loc="upper left")


def _age_until(hour: float, q10: FloatArray) -> FloatArray:
    times = np.append(HOURS[: np.searchsorted(HOURS, hour)], hour)
    return logged_age(times, np.interp(times, HOURS, LOGGED_C), q10)


if __name__ == "__main__":
    draw(ROOT / "docs" / "science" / "temperature.svg")
