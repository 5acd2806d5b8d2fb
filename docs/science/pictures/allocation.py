"""Picture of the allocation: growers served and capsules expected by both rules, as pollen gets scarce."""

import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.figure import Figure

from exchange.matching.allocation import Allocation, Edge, GrowerLabels, Rule, Want, allocate

GROWERS, WANTS, OFFERS, SEED = 16, 40, 60, 7
RULES: tuple[tuple[Rule, str, str], ...] = (
    ("one for each grower first", "o-", "black"),
    ("most capsules", "s--", "grey"),
)


def market() -> tuple[list[Edge], dict[str, Want], dict[str, GrowerLabels]]:
    """An invented market: every third offer suits a cross, with chances that differ tenfold among crosses."""
    random = np.random.default_rng(SEED)
    wants = {f"cross {n}": Want(f"grower {n % GROWERS}", 2) for n in range(WANTS)}
    edges = []
    for wanted in wants:
        width = 10.0 ** -random.uniform(0.3, 1.3)
        for offer in np.flatnonzero(random.random(OFFERS) < 1 / 3):
            chance = width * random.uniform(0.4, 1.0)
            edges.append(Edge(f"offer {offer}", wanted, (chance, 0.9 * chance)))
    return edges, wants, {f"grower {n}": GrowerLabels("invented", False) for n in range(GROWERS)}


def shared_out(doses: int, rule: Rule) -> Allocation:
    """The market with only its first offers, one dose each."""
    edges, wants, growers = market()
    supplies = {f"offer {offer}": int(offer < doses) for offer in range(OFFERS)}
    return allocate(edges, supplies, wants, growers, rule=rule)


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "allocation"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    served, capsules = figure.subplots(1, 2)
    doses = list(range(4, OFFERS + 1, 4))
    for rule, style, shade in RULES:
        results = [shared_out(count, rule) for count in doses]
        served.plot(doses, [len(result.served) for result in results], style, color=shade, label=rule)
        capsules.plot(doses, [result.expected_capsules for result in results], style, color=shade, label=rule)
    served.set_ylabel(f"growers served, of {GROWERS}")
    capsules.set_ylabel("expected capsules")
    for axes in (served, capsules):
        axes.set_xlabel(f"doses to share out among {2 * WANTS} flowers")
        axes.set_ylim(bottom=0)
    served.legend(loc="lower right", frameon=False)
    figure.savefig(path, metadata={"Date": None} if path.suffix == ".svg" else None)


if __name__ == "__main__":
    draw(ROOT / "docs/science/allocation.svg")
