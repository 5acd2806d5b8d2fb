"""Picture of the bloom forecast: chance that a plant is in its window, by what is known of it."""

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.science import constants
from exchange.science.bloom import BloomFacts, PlantSetting, SaidWindow
from exchange.science.bloom_chain import forecast
from exchange.science.bloom_scenario import bloom_scenarios, daily_rate
from exchange.science.climate import climate_of

SCENARIOS = 4096
DAYS = 365
SD = constants.SAID_MONTH_SD_DAYS.value
# Invented plants: place, what the grower says, day of the bud report, first day shown.
PLANTS = {
    "hardy, 49° N": ((49.077, 1.53), "hardy", SaidWindow((6, 1), (9, 10), SD), date(2026, 5, 20)),
    "hardy, 34° S": ((-33.87, 151.21), "hardy", SaidWindow((10, 15), (4, 10), SD), date(2026, 10, 3)),
    "night tropical, 14° N": ((13.75, 100.52), "lotos", SaidWindow((11, 1), (3, 10), SD), date(2026, 10, 20)),
}


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "bloom"
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    panels = figure.subplots(1, 3, sharey=True)
    for axes, (name, (place, group, said, bud_seen)) in zip(panels, PLANTS.items(), strict=True):
        setting = PlantSetting(
            group,
            "night" if group == "lotos" else "day",
            place[0],
            climate_of(*place).monthly_mean_c,
            "outdoor",
        )
        told = BloomFacts(said=said)
        budded = replace(told, bud_stage="under water", bud_seen=bud_seen)
        flowered = replace(budded, first_seen=bud_seen + timedelta(days=10))
        _curve(axes, BloomFacts(), setting, bud_seen, "climate only", color="0.65", linewidth=3.0)
        _curve(axes, told, setting, bud_seen, "said by the grower", color="black", linestyle=":")
        _curve(axes, budded, setting, bud_seen, "bud under water seen", color="black", linestyle="--")
        _curve(axes, flowered, setting, bud_seen + timedelta(days=10), "first flower seen", color="black")
        axes.set_title(name, fontsize="medium")
        _label_months(axes, bud_seen)
    panels[0].set_ylabel("chance that a day lies in the window")
    figure.legend(*panels[0].get_legend_handles_labels(), loc="outside lower center", ncols=4, frameon=False)
    figure.savefig(path, metadata={"Date": None})


def _curve(
    axes: Axes, facts: BloomFacts, setting: PlantSetting, today: date, label: str, **style: Any
) -> None:
    window = forecast(facts, setting, today)
    assert window is not None
    first_day = today - timedelta(days=60)
    rate = daily_rate(bloom_scenarios(window, seed=0, count=SCENARIOS), first_day, DAYS)
    days = [first_day + timedelta(days=number) for number in range(DAYS)]
    axes.plot(np.array(days, dtype="datetime64[D]"), (rate > 0.0).mean(axis=0), label=label, **style)


def _label_months(axes: Axes, bud_seen: date) -> None:
    """Month numbers and years at the first of every third month."""
    numbers = [bud_seen.year * 12 + month for month in range(bud_seen.month - 3, bud_seen.month + 11, 3)]
    ticks = [date(number // 12, number % 12 + 1, 1) for number in numbers]
    axes.set_xticks(np.array(ticks, dtype="datetime64[D]"), [f"{tick:%b %Y}" for tick in ticks])
    axes.tick_params(labelsize="x-small")


if __name__ == "__main__":
    draw(ROOT / "docs/science/bloom.svg")
