"""Picture of viability: apple pollen and its curves, and what is thought of a water lily's dried pollen."""

import csv
import json
import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science.live_effect import (
    best_before_days,
    live_effect,
    live_effect_rates,
)
from exchange.science.viability import (
    fraction_left,
    prior_draws,
    remaining_fraction,
)
from exchange.science.weighted import weighted_mean, weighted_quantile

CULTIVAR = "budimka"
MARKS = {20: ("o", ":"), 4: ("s", "-"), -20: ("^", "--"), -80: ("v", "-.")}
AGES = np.linspace(0.0, 120.0, 121)


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "viability"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    left, right = figure.subplots(1, 2)
    for temperature_c, (mark, line) in MARKS.items():
        _apple(left, temperature_c, mark, line)
    left.set_title("stored apple pollen, Budimka: germination, %", fontsize="medium")
    left.set_xlabel("months of storage")
    left.set_ylim(0.0, 105.0)
    left.legend(frameon=False, fontsize="small")
    _prior(right)
    figure.savefig(path, metadata={"Date": None})


def _apple(axes: Axes, temperature_c: int, mark: str, line: str) -> None:
    means, fit = _published(temperature_c)
    months = np.linspace(0.0, 6.0, 121)
    half_life = np.log(2.0) ** (1.0 / fit["weibull_shape"]) / fit["weibull_rate"]
    curve = fit["weibull_initial"] * fraction_left(months, half_life, fit["weibull_shape"])
    axes.plot(list(means), list(means.values()), mark, color="black", markersize=4)
    label = f"{temperature_c:+d} °C, shape {fit['weibull_shape']:.2f}".replace("-", "−")
    axes.plot(months, curve, line, color="black", linewidth=1, label=label)


def _published(temperature_c: int) -> tuple[dict[int, float], dict[str, float]]:
    means: dict[int, float] = {}
    fit: dict[str, float] = {}
    with (ROOT / "fixtures" / "published" / "viability.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            inputs = json.loads(row["inputs"])
            if inputs.get("cultivar") != CULTIVAR or inputs.get("temperature_c") != temperature_c:
                continue
            if row["quantity"] == "apple_mean":
                means[inputs["month"]] = float(row["value"])
            else:
                fit[row["quantity"].removeprefix("apple_")] = float(row["value"])
    return means, fit


def _prior(axes: Axes) -> None:
    draws, rate = prior_draws("dried"), live_effect_rates()
    left = remaining_fraction(draws, AGES)
    low, middle, high = (weighted_quantile(left, draws.weight, share) for share in (0.1, 0.5, 0.9))
    axes.fill_between(AGES, low, high, color="0.85", label="share still germinating, 10–90 %")
    axes.plot(AGES, middle, color="black", label="its median")
    effect = weighted_mean(live_effect(left, rate), draws.weight)
    axes.plot(AGES, effect, "--", color="black", label="expected live effect")
    date, _ = best_before_days(draws, rate)
    axes.axvline(date, color="black", linestyle=":", label=f"best before: {date:.0f} days")
    axes.set_title("dried water-lily pollen, from other plants only", fontsize="medium")
    axes.set_xlabel("thermal age, equivalent days at 4 °C")
    axes.set_ylim(0.0, 1.05)
    axes.legend(frameon=False, fontsize="small")


if __name__ == "__main__":
    draw(ROOT / "docs" / "science" / "viability.svg")
