"""Picture of assays: what one test and a second, later test tell of a fresh lot."""

import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science.assay import GerminationAssay, probit_sensitivity, update_by_assays
from exchange.science.probit import probit_viability
from exchange.science.proportion import wilson_interval
from exchange.science.viability import viability
from exchange.science.weighted import weighted_quantile

AGES = np.linspace(0.0, 15.0, 91)
WAY = ("germination", "stigmatic fluid", "tube longer than grain")
# An invented lot: 60 of 200 grains at once, 30 of 200 five equivalent days later.
TESTS = (
    GerminationAssay(0.0, (30, 30), (100, 100), *WAY),
    GerminationAssay(5.0, (15, 15), (100, 100), *WAY),
)
TITLES = ("not tested", "tested at once", "and after five days")


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "assay"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    for count, axes in enumerate(figure.subplots(1, 3, sharey=True)):
        _panel(axes, TESTS[:count])
        axes.set_title(TITLES[count], fontsize="medium")
        axes.set_xlabel("equivalent days at 4 °C")
    figure.axes[0].set_ylabel("germinating share, invented lot")
    handles, labels = figure.axes[-1].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4, frameon=False)
    figure.savefig(path, metadata={"Date": None})


def _panel(axes: Axes, tests: tuple[GerminationAssay, ...]) -> None:
    draws = update_by_assays("fresh", tests).draws
    alive = viability(draws, AGES)
    low, middle, high = (weighted_quantile(alive, draws.weight, share) for share in (0.1, 0.5, 0.9))
    axes.fill_between(AGES, low, high, color="0.85", label="likely range, 10–90 %")
    axes.plot(AGES, middle, color="black", label="median")
    for number, test in enumerate(tests):
        germinated, counted = sum(test.germinated), sum(test.counted)
        ends, share = wilson_interval(germinated, counted), germinated / counted
        spread = [[share - ends[0]], [ends[1] - share]]
        label = "counted, Wilson 95 %" if number == 0 else None
        axes.errorbar([float(test.thermal_age_days)], [share], spread, fmt="ko", capsize=3, label=label)
    line = probit_sensitivity(draws, tests)
    if line is not None:
        curve = probit_viability(AGES, line.intercept, line.sd_days)
        axes.plot(AGES, curve, "--", color="black", label="probit, for comparison")
    axes.set_ylim(0.0, 0.6)


if __name__ == "__main__":
    draw(ROOT / "docs" / "science" / "assay.svg")
