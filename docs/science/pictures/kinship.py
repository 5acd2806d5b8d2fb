"""Picture of kinship: inbreeding of the offspring of relatives, by the ploidy of the parents."""

import sys
from pathlib import Path

import matplotlib as mpl

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.figure import Figure

from exchange.science.constants import KINSHIP_STRONG_WARNING, KINSHIP_WARNING
from exchange.science.kinship import PedigreeEntry, offspring_inbreeding

# Two founders A and B, their children C and D, a half sib H, and the children E and G of C and of D.
FAMILY = (
    ("A", None, None),
    ("B", None, None),
    ("X", None, None),
    ("Y", None, None),
    ("C", "A", "B"),
    ("D", "A", "B"),
    ("H", "A", "X"),
    ("E", "C", "X"),
    ("G", "D", "Y"),
)
CROSSES = (
    ("self", "C", "C"),
    ("full sibs", "C", "D"),
    ("parent and child", "A", "C"),
    ("half sibs", "C", "H"),
    ("first cousins", "E", "G"),
    ("strangers", "A", "B"),
)
PLOIDIES = ((2, "o", "black"), (4, "s", "dimgrey"), (6, "^", "grey"), (8, "D", "darkgrey"))


def inbreeding(seed_parent: str, pollen_parent: str, chromosome_sets: int) -> float:
    """Polysomic F of the offspring of two members of the family."""
    pedigree = [PedigreeEntry(name, seed, pollen, chromosome_sets) for name, seed, pollen in FAMILY]
    return offspring_inbreeding(pedigree, seed_parent, pollen_parent).polysomic


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "kinship"
    figure = Figure(figsize=(9.0, 4.2), layout="constrained")
    axes = figure.subplots()
    rows = range(len(CROSSES))
    for chromosome_sets, mark, shade in PLOIDIES:
        values = [inbreeding(seed, pollen, chromosome_sets) for _, seed, pollen in CROSSES]
        label = (
            "2 sets, and the disomic figure of any ploidy"
            if chromosome_sets == 2
            else f"{chromosome_sets} sets"
        )
        axes.plot(values, rows, mark, color=shade, label=label)
    for threshold, word in ((KINSHIP_WARNING.value, "warn"), (KINSHIP_STRONG_WARNING.value, "strong")):
        axes.axvline(threshold, color="black", linewidth=0.7, linestyle="--")
        axes.text(threshold + 0.004, len(CROSSES) - 0.55, word, fontsize="small", va="center")
    axes.set_yticks(rows, [cross for cross, _, _ in CROSSES])
    axes.set_ylim(len(CROSSES) - 0.3, -0.5)
    axes.set_xlabel("inbreeding coefficient F of the offspring")
    axes.legend(loc="center right", frameon=False, fontsize="small")
    figure.savefig(path, metadata={"Date": None})


if __name__ == "__main__":
    draw(ROOT / "docs/science/kinship.svg")
