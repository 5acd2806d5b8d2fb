"""Picture of compatibility: the priors of all ordered pairs of groups, and what failures teach."""

import sys
from pathlib import Path

import matplotlib as mpl

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science.compatibility import group_prior, group_priors
from exchange.science.compatibility_posterior import group_estimate, pair_estimate
from exchange.science.group import GROUPS
from exchange.science.outcome import Outcome, PairRecord

MOST_FAILURES = 40
LARGEST_DOT = 700.0
EXAMPLE = ("brachyceras", "brachyceras")


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "compatibility"
    figure = Figure(figsize=(11.0, 5.0), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1.25, 1.0))
    _draw_priors(left)
    _draw_learning(right)
    figure.savefig(path, metadata={"Date": None})


def _draw_priors(axes: Axes) -> None:
    for (seed, pollen), prior in group_priors().items():
        x, y = GROUPS.index(pollen), GROUPS.index(seed)
        if not prior.refused:
            axes.scatter(x, y, s=LARGEST_DOT * prior.mean, color="lightgrey")
        text = "refused" if prior.refused else f"{prior.mean:.3g}"
        small = prior.refused or prior.mean < 0.1
        axes.text(x, y, text, ha="center", va="center", fontsize=7 if small else 8)
    axes.set_xticks(range(len(GROUPS)), GROUPS, rotation=30, ha="right")
    axes.set_yticks(range(len(GROUPS)), GROUPS)
    axes.set_xlim(-0.6, len(GROUPS) - 0.4)
    axes.set_ylim(len(GROUPS) - 0.4, -0.6)
    axes.set_xlabel("pollen parent")
    axes.set_ylabel("seed parent")
    axes.set_title("chance of a capsule before any outcome (mean)", fontsize="medium")


def _draw_learning(axes: Axes) -> None:
    prior, counts = group_prior(*EXAMPLE), range(MOST_FAILURES + 1)
    one = [[PairRecord("seed", "pollen", (Outcome("failed"),) * count)] for count in counts]
    many = [[PairRecord(f"seed {i}", "pollen", (Outcome("failed"),)) for i in range(n)] for n in counts]
    weak = [[PairRecord("seed", "pollen", (Outcome("failed", effect=0.2),) * count)] for count in counts]
    lines = (
        ("the groups, if one pair failed", "-", [group_estimate(prior, records).mean for records in one]),
        ("the groups, if as many pairs failed once", "--", [group_estimate(prior, r).mean for r in many]),
        ("that one pair", ":", [pair_estimate(prior, r, "seed", "pollen").mean for r in one]),
        ("that pair, live effect 0.2", "-.", [pair_estimate(prior, r, "seed", "pollen").mean for r in weak]),
    )
    for label, style, means in lines:
        axes.plot(counts, means, style, color="black", label=label)
    axes.set_xlabel("failures")
    axes.set_ylabel("mean compatibility")
    axes.set_ylim(0.0, 1.0)
    axes.set_title(f"what failures teach ({EXAMPLE[0]} × {EXAMPLE[1]})", fontsize="medium")
    axes.legend(fontsize="small", frameon=False)


if __name__ == "__main__":
    draw(ROOT / "docs/science/compatibility.svg")
