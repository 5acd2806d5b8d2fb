"""Picture of the calibration of assays: where the truth of invented lots lay among the draws."""

import sys
from pathlib import Path

import numpy as np
from scipy import stats

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tests.science.calibration import BINS, CLASSES, Calibration, calibrate

LOTS, SEED = 500, 20261129


def draw(path: Path) -> None:
    """Write the picture as PNG."""
    figure = Figure(figsize=(9.0, 5.6), layout="constrained")
    panels = figure.subplots(2, 3).flat
    found = {lots.name: calibrate(lots, LOTS, SEED) for lots in CLASSES}
    for axes, (name, calibration) in zip(panels, found.items(), strict=False):
        _ranks(axes, calibration)
        axes.set_title(f"{name}: p = {calibration.uniform_p:.2g}", fontsize="medium")
        _tell(name, calibration)
    _coverage(figure.axes[-1], found)
    figure.savefig(path, dpi=110, metadata={"Software": None})


def _ranks(axes: Axes, found: Calibration) -> None:
    low, high = stats.binom.ppf((0.005, 0.995), LOTS, 1.0 / BINS)
    axes.axhspan(low, high, color="0.92", label="99 % of bars, if uniform")
    axes.axhline(LOTS / BINS, color="black", linewidth=0.8, linestyle="--")
    axes.bar((np.arange(BINS) + 0.5) / BINS, found.counts, 0.9 / BINS, color="0.45")
    axes.set_xlabel("rank of the truth among the draws")
    axes.set_ylabel(f"lots of {LOTS}")


def _coverage(axes: Axes, found: dict[str, Calibration]) -> None:
    axes.axvspan(75.0, 85.0, color="0.92")
    axes.axvline(80.0, color="black", linewidth=0.8, linestyle="--")
    names = list(found)[::-1]
    axes.plot([100.0 * found[name].coverage for name in names], names, "ko")
    axes.set_xlim(70.0, 90.0)
    axes.set_xlabel("truths inside 10–90 %, in 100")
    axes.set_title("coverage; grey: wanted", fontsize="medium")


def _tell(name: str, found: Calibration) -> None:
    least, redrawn = found.effective_sample.min(), 100.0 * found.redrawn.mean()
    print(
        f"{name}: {100.0 * found.coverage:.1f} % inside, p = {found.uniform_p:.3f}, redrawn {redrawn:.0f} %,"
        f" least effective sample {least:.0f}, under 400: {int((found.effective_sample < 400.0).sum())}"
    )


if __name__ == "__main__":
    draw(ROOT / "docs" / "science" / "assay_calibration.png")
