"""Picture of the flower model: chance of a first-day flower, and how shortcuts overstate it."""

import math
import sys
from collections.abc import Iterable
from datetime import date, timedelta
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science import constants
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_scenario import bloom_scenarios, daily_rate
from exchange.science.flower import (
    evenly_flowering_probability,
    expected_window_days,
    flowers_probability,
    uncertain_rate_probability,
    uncertain_window_and_rate_probability,
    uncertain_window_probability,
)
from exchange.science.season_statistic import Normal

RATE = constants.RATE_HARDY
START, END = Normal(0.0, 8.0), Normal(90.0, 10.0)
WEEK = 7


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "flower"
    figure = Figure(figsize=(9.0, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True)
    _by_days(left)
    _by_week(right)
    for axes in (left, right):
        axes.legend(frameon=False, fontsize="small", loc="lower right")
        axes.set_ylim(0.0, 1.02)
    left.set_ylabel("chance of a first-day flower")
    figure.savefig(path, metadata={"Date": None})


def _by_days(axes: Axes) -> None:
    rate, days = RATE.mean_per_day, range(29)
    even = [evenly_flowering_probability(rate, day) for day in days]
    poisson = [flowers_probability(rate, day) for day in days]
    drawn = [uncertain_rate_probability(RATE.shape, RATE.exposure_days, day) for day in days]
    axes.plot(days, even, ":", color="black", label=f"evenly, one in {1.0 / rate:g} days")
    axes.plot(days, poisson, "--", color="black", label=f"Poisson, rate {rate:g} a day known")
    axes.plot(days, drawn, "-", color="black", label=f"Gamma({RATE.shape:g}, {RATE.exposure_days:g} d): used")
    axes.set_title("one hardy crown, days surely in bloom", fontsize="medium")
    axes.set_xlabel("days")


def _by_week(axes: Axes) -> None:
    rate, firsts = RATE.mean_per_day, range(-25, 26)
    spans = [(first, first + WEEK - 1) for first in firsts]
    naive = [-math.expm1(-rate * expected_window_days(START, END, *span)) for span in spans]
    fixed = [uncertain_window_probability(START, END, *span, rate_per_day=rate) for span in spans]
    exact = [
        uncertain_window_and_rate_probability(
            START, END, *span, rate_shape=RATE.shape, rate_exposure_days=RATE.exposure_days
        )
        for span in spans
    ]
    axes.plot(firsts, naive, ":", color="black", label="1 − exp(−expected flowers): wrong")
    axes.plot(firsts, fixed, "--", color="black", label="rate fixed at its mean: too high")
    axes.plot(firsts, exact, "-", color="black", label="exact, window and rate unknown")
    drawn = firsts[::5]
    axes.plot(drawn, _scenario_chances(drawn), "o", color="black", label="the engine's 128 scenarios")
    axes.set_title(f"a week, first bloom known to ±{START.sd:g} d", fontsize="medium")
    axes.set_xlabel("first day of the week, days after the mean first bloom")


def _scenario_chances(firsts: Iterable[int]) -> list[float]:
    origin = date(2026, 6, 1)
    shape, exposure = RATE.shape, RATE.exposure_days
    window = BloomWindow(
        origin, START.mean, START.sd, END.mean, END.sd, shape, exposure, 1, 1.0, "records", 0
    )
    scenarios = bloom_scenarios(window, seed=0)
    weeks = [daily_rate(scenarios, origin + timedelta(days=first), WEEK) for first in firsts]
    return [float(np.mean(-np.expm1(-week.sum(axis=1)))) for week in weeks]


if __name__ == "__main__":
    draw(ROOT / "docs/science/flower.svg")
