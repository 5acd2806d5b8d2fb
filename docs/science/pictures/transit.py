"""Picture of the transit model: priors of three services, and how a lane learns from parcels."""

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

from exchange.science.arrays import FloatArray
from exchange.science.transit import (
    MAX_BUSINESS_DAYS,
    Transit,
    transit_predictive,
    transit_prior_weights,
)

DAYS = np.arange(1, MAX_BUSINESS_DAYS + 1)
SERVICES = ((1.0, 500.0, "black", "o"), (3.0, 1_500.0, "dimgrey", "s"), (7.0, 9_000.0, "darkgrey", "^"))
EXAMPLE = "dirichlet_day_1"
STILL_OUT_DAYS = (4, 4)


def example_counts() -> FloatArray:
    """Days taken by the ten parcels of the worked example in the published rows."""
    with (ROOT / "fixtures/published/transit.csv").open(encoding="utf-8", newline="") as lines:
        row = next(line for line in csv.DictReader(lines) if line["key"] == EXAMPLE)
    counts = np.array(json.loads(row["inputs"])["delivered"], dtype=np.float64)
    return np.pad(counts, (0, MAX_BUSINESS_DAYS - counts.size))


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "transit"
    figure = Figure(figsize=(9.0, 4.0), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True)
    nothing = np.zeros(MAX_BUSINESS_DAYS)
    for promised, distance, shade, mark in SERVICES:
        transit = transit_predictive(transit_prior_weights(promised, distance), nothing)
        _plot(left, transit, shade, mark, f"promise: {promised:g} d, {distance:,.0f} km")
    _finish(left, "before any parcel was seen")
    counts, weights = example_counts(), transit_prior_weights(*SERVICES[1][:2])
    seen = f"after {counts.sum():g} parcels"
    _plot(right, transit_predictive(weights, nothing), "darkgrey", "^", "before any parcel was seen")
    _plot(right, transit_predictive(weights, counts), "black", "o", seen)
    delayed = transit_predictive(weights, counts, 0, STILL_OUT_DAYS)
    label = f"{seen}, {len(STILL_OUT_DAYS)} more still out after {STILL_OUT_DAYS[0]} days"
    _plot(right, delayed, "dimgrey", "s", label)
    _finish(right, f"the lane of {SERVICES[1][1]:,.0f} km learns")
    figure.savefig(path, metadata={"Date": None})


def _plot(axes: Axes, transit: Transit, shade: str, mark: str, label: str) -> None:
    arrived = np.cumsum(transit.day_probability)
    axes.step(DAYS, arrived, where="post", color=shade, marker=mark, markersize=4, label=label)


def _finish(axes: Axes, title: str) -> None:
    axes.set_title(title, fontsize="medium")
    axes.set_xlabel("business days after dispatch (15 = 15 or more)")
    axes.set_ylabel("chance of having arrived")
    axes.set_ylim(0.0, 1.02)
    axes.legend(loc="lower right", fontsize="small", frameon=False)


if __name__ == "__main__":
    draw(ROOT / "docs/science/transit.svg")
