"""Picture of one pairing on a day axis: pollen, drying, parcel, flowers, remaining effect, worth."""

import sys
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT))

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from exchange.matching import posting
from exchange.matching.effect import effect_table
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.side import Bloom, CrossWanted, Lane, Parent, PollenOffer
from exchange.science import constants
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_scenario import bloom_scenarios
from exchange.science.business_day import ServiceCalendar
from exchange.science.packing import DEFAULT_PACKING
from exchange.science.parcel import ambient_temperature_c
from exchange.science.transit import MAX_BUSINESS_DAYS, slower, transit_predictive
from exchange.science.transit import transit_prior_weights as prior_weights

# The example is invented: two hardy day bloomers, the same country, a warm June and July.
TODAY = date(2026, 6, 1)
MONTHLY_MEAN_C, DISTANCE_KM = 18.0, 500.0
SHOWN_DAYS = 75


@dataclass(frozen=True)
class Example:
    """The pairing that is drawn, laid out and planned."""

    offer: PollenOffer
    lane: Lane
    course: posting.Course
    worth: posting.Value
    plan: PairPlan

    def day(self, on: date | None) -> int:
        """Days ahead of a date."""
        assert on is not None
        return (on - TODAY).days


def draw(path: Path) -> None:
    """Write the picture as SVG."""
    mpl.rcParams["svg.hashsalt"] = "matching"
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    panels = figure.subplots(5, 1, sharex=True, height_ratios=(2, 1, 2, 2, 2))
    drawn = example()
    for axes, panel in zip(panels, (_pollen, _parcel, _flowers, _effect, _worth), strict=True):
        _closed_days(axes, drawn)
        panel(axes, drawn)
    panels[-1].set_xlim(0, SHOWN_DAYS)
    mondays = np.arange((7 - TODAY.weekday()) % 7, SHOWN_DAYS, 14)
    panels[-1].set_xticks(mondays, [f"{TODAY + timedelta(days=int(day)):%d %b}" for day in mondays])
    figure.savefig(path, metadata={"Date": None})


def example() -> Example:
    """The invented pairing."""
    donor, recipient = _bloom(15.0, 60.0, seed=1), _bloom(25.0, 70.0, seed=2)
    offer = PollenOffer("offer", _parent("pollen parent"), "DE", frozenset(), "dried", 1, bloom=donor)
    wanted = CrossWanted("wanted", _parent("seed parent"), "DE", 1, recipient)
    lane = _lane()
    flowers = posting.recipient_flowers(recipient, TODAY)
    assert flowers is not None
    course = posting.course(offer, wanted, lane, TODAY, flowers)
    plan = plan_pair(offer, wanted, lane, TODAY, flowers)
    assert isinstance(plan, PairPlan)
    return Example(offer, lane, course, posting.central_value(offer, lane, course), plan)


def _bloom(first: float, last: float, *, seed: int) -> Bloom:
    window = BloomWindow(
        origin=TODAY,
        start_mean=first,
        start_sd=constants.YEAR_SD_DAYS.value,
        end_mean=last,
        end_sd=constants.YEAR_SD_DAYS.value,
        rate_shape=constants.RATE_HARDY.shape,
        rate_exposure_days=constants.RATE_HARDY.exposure_days,
        crowns=2,
        flowering_chance=1.0,
        basis="records",
        years=3,
    )
    return Bloom(window, bloom_scenarios(window, seed=seed))


def _parent(name: str) -> Parent:
    return Parent(name, name, name, ("hardy",), "day", pollen_first_day=2, pollen_last_day=3, taxon="")


def _lane() -> Lane:
    weights = prior_weights(constants.PROMISED_DAYS_HOME.value, DISTANCE_KM)
    transit = transit_predictive(weights, np.zeros(MAX_BUSINESS_DAYS))
    ambient = np.full(12, ambient_temperature_c(MONTHLY_MEAN_C))
    calendar = ServiceCalendar()
    return Lane(calendar, calendar, transit, slower(transit), DEFAULT_PACKING, ambient)


def _closed_days(axes: Axes, drawn: Example) -> None:
    closed = np.flatnonzero(~drawn.course.days.is_open[:SHOWN_DAYS])
    axes.bar(closed + 0.5, 1.0, width=1.0, color="0.93", transform=axes.get_xaxis_transform(), zorder=0)


def _pollen(axes: Axes, drawn: Example) -> None:
    ready = drawn.course.ready.sum(axis=1)[:SHOWN_DAYS]
    axes.bar(np.arange(ready.size) + 0.5, ready, width=1.0, color="0.6", edgecolor="black", linewidth=0.3)
    axes.set_title("chance that dried pollen is ready to post (grey: no post)", fontsize="small")
    axes.set_ylim(0.0, 1.0)


def _parcel(axes: Axes, drawn: Example) -> None:
    assert drawn.plan.dates is not None
    posted = drawn.day(drawn.plan.dates.post_on)
    dried = constants.DRYING_HOURS.value / constants.HOURS_PER_DAY.value
    style: dict[str, Any] = {"edgecolor": "black", "linewidth": 0.5}
    axes.broken_barh([(posted + 0.5 - dried, dried)], (0.0, 1.0), facecolor="white", hatch="xxxx", **style)
    elapsed = np.arange(drawn.course.way.longest_parcel_days + 1)
    arrived = drawn.course.way.parcel_days[posted][:, None] <= elapsed
    under_way = 1.0 - drawn.lane.transit.day_probability @ arrived
    axes.fill_between(
        posted + 0.5 + elapsed, under_way, step="post", facecolor="white", hatch="////", **style
    )
    axes.set_ylim(0.0, 1.0)
    axes.set_title("crossed: drying; hatched: share of parcels still under way or lost", fontsize="small")


def _flowers(axes: Axes, drawn: Example) -> None:
    rate = drawn.course.receptive_rate
    days = np.arange(min(SHOWN_DAYS, rate.shape[1]))
    axes.step(days, rate.mean(axis=0)[: days.size], where="post", color="black", label="mean")
    axes.step(
        days,
        np.quantile(rate, 0.9, axis=0)[: days.size],
        where="post",
        color="black",
        linestyle=":",
        label="90 %",
    )
    axes.set_title("first-day flowers of the seed parent a day, over its scenarios", fontsize="small")
    axes.set_ylim(bottom=0.0)
    axes.legend(frameon=False, fontsize="x-small")


def _effect(axes: Axes, drawn: Example) -> None:
    assert drawn.plan.dates is not None
    posted, arrived = drawn.day(drawn.plan.dates.post_on), drawn.day(drawn.plan.dates.arrival_half)
    days = np.array([arrived - posted])
    heat = float(drawn.course.way.heat_class_c[posted])
    table = effect_table(drawn.offer.treatment, drawn.lane.packing, heat, days, SHOWN_DAYS)
    waits = np.arange(SHOWN_DAYS - arrived)
    start = int(posting.cool_start(drawn.offer, drawn.course)[posted, 0]) - drawn.course.way.waiting_days
    for row, style, label in ((table.mean, "-", "mean"), (table.low, ":", "10 % quantile")):
        axes.plot(arrived + waits, row[days[0], start + waits], style, color="black", label=label)
    axes.set_title(
        "live effect of a packet posted on the best day, from its median arrival", fontsize="small"
    )
    axes.set_ylim(0.0, 1.0)
    axes.legend(frameon=False, fontsize="x-small")


def _worth(axes: Axes, drawn: Example) -> None:
    dates = drawn.plan.dates
    assert dates is not None
    candidate = np.flatnonzero(drawn.course.candidate[:SHOWN_DAYS])
    worth = drawn.worth.mean[candidate]
    axes.bar(candidate + 0.5, worth, width=0.8, color="white", edgecolor="black", linewidth=0.5)
    best = drawn.worth.mean[drawn.day(dates.post_on)]
    axes.axhline(constants.GOOD_DAY_FRACTION.value * best, color="black", linestyle="--", linewidth=0.7)
    marks = (dates.post_on, "post on", "right"), (dates.not_later_than, "not later than", "left")
    for on, words, side in marks:
        axes.annotate(
            words,
            (drawn.day(on) + 0.5, best * 1.02),
            xytext=(0, 14),
            textcoords="offset points",
            ha=side,
            fontsize="x-small",
            arrowprops={"arrowstyle": "->"},
        )
    axes.set_ylim(0.0, best * 1.45)
    axes.set_title("worth of posting on each day; dashed: four fifths of the best", fontsize="small")


if __name__ == "__main__":
    draw(ROOT / "docs/science/matching.svg")
