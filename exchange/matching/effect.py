"""Live effect left after the parcel and the wait: one table for a treatment, packing and heat class.

Cells are (days in the parcel, days at 4 °C besides). Waiting at the donor's and at the recipient's
is the same to the pollen, so one table serves every posting day.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache

import numpy as np

from exchange.science import constants
from exchange.science.aged_effect import Precision, low_aged_effect, mean_aged_effect
from exchange.science.arrays import FloatArray, IntegerArray
from exchange.science.chebyshev import day_nodes
from exchange.science.live_effect import live_effect_rates
from exchange.science.packing import Packing
from exchange.science.parcel import thermal_age_in_parcel_days
from exchange.science.thermal_age import constant_temperature_age, rate_factor
from exchange.science.viability import Treatment, ViabilityDraws, prior_draws

WAIT_BLOCK_DAYS = 60
PARCEL_BLOCK_DAYS = 40
EACH_DAY_UNTIL = 16
BLOCK_GROWTH = 3
NODES = 16
"""Means are reckoned day by day at first, then on so many nodes for a block that ends three times later.

Our judgement, held by a test: over all draws this moves no mean by more than 1e-10."""
PRECISION: Precision = np.float32
"""Of the inner loop: float32 moves no chance by more than 1e-6; tests hold float64 against brute force."""


@dataclass(frozen=True)
class PollenClass:
    """Pollen that ages alike: its treatment, packing, heat class of the route and days in a freezer."""

    treatment: Treatment
    packing: Packing
    heat_class_c: float
    frozen_days: int = 0


RowKey = tuple[Precision, PollenClass, int]
Rows = dict[RowKey, FloatArray]
BlockStop = Callable[[int], int]
Block = Callable[[Sequence[RowKey], int, int], FloatArray]
_mean_rows: Rows = {}
_low_rows: Rows = {}


@dataclass(frozen=True)
class EffectTable:
    """Live effect of one class, arrays (parcel days + 1, wait days + 1), each reckoned when first asked for.

    What falls below the negligible effect is zero, and so are rows not among ``parcel_days``.
    """

    pollen: PollenClass
    parcel_days: tuple[int, ...]
    columns: int

    @cached_property
    def mean(self) -> FloatArray:
        """Mean over the draws."""
        return self._table(_mean_rows, _mean_block_stop, _mean_block)

    @cached_property
    def low(self) -> FloatArray:
        """10 % quantile over the first draws."""
        table = self._table(_low_rows, _low_block_stop, _low_block)
        table[self.mean == 0.0] = 0.0
        return table

    def _table(self, rows: Rows, block_stop: BlockStop, block: Block) -> FloatArray:
        keys = [(PRECISION, self.pollen, day) for day in self.parcel_days]
        _lengthen(rows, keys, self.columns, block_stop, block)
        table = np.zeros((max(self.parcel_days) + 1, self.columns))
        for key in keys:
            table[key[-1]] = rows[key][: self.columns]
        return table


@cache
def dispatch_age_days(treatment: Treatment) -> FloatArray:
    """Thermal age of each draw when pollen is packed or stored: drying counts, rest comes extra."""
    draws = prior_draws(treatment)
    if treatment == "fresh":
        return np.zeros(draws.q10.shape)
    days = constants.DRYING_HOURS.value / constants.HOURS_PER_DAY.value
    age = constant_temperature_age(days, constants.DRYING_TEMPERATURE_C.value, draws.q10)
    return np.asarray(age.reshape(-1), dtype=np.float64)


def posting_age_days(treatment: Treatment, frozen_days: int) -> FloatArray:
    """Thermal age of each draw when pollen leaves its store, days at 4 °C not counted.

    In a freezer no rate below that of 0 °C is credited, until a lot is tested after freezing.
    """
    rate = rate_factor(constants.FREEZING_C.value, prior_draws(treatment).q10)
    return dispatch_age_days(treatment) + frozen_days * rate


def parcel_age_days(packing: Packing, heat_class: float, longest_days: int) -> FloatArray:
    """Thermal age that each draw gathers in so many days in the parcel.

    Array (draws, days + 1), for ``longest_days`` or more: a post may close for months.
    """
    return _parcel_age_days(packing, heat_class, max(1, -(-longest_days // PARCEL_BLOCK_DAYS)))


@lru_cache(maxsize=64)
def _parcel_age_days(packing: Packing, heat_class: float, blocks: int) -> FloatArray:
    hours = np.arange(blocks * PARCEL_BLOCK_DAYS + 1, dtype=np.float64) * constants.HOURS_PER_DAY.value
    # The Q10 of a draw does not depend on the treatment.
    return thermal_age_in_parcel_days(packing, heat_class, hours, prior_draws("dried").q10)


def effect_table(
    treatment: Treatment,
    packing: Packing,
    heat_class: float,
    parcel_days: IntegerArray,
    wait_days: int,
    *,
    frozen_days: int = 0,
) -> EffectTable:
    """Live effect for the parcel days asked for and up to so many days at 4 °C besides.

    Each draw is aged with its own Q10 and the mean is taken last; averaging ages first would flatter old
    pollen. Rows are kept for the life of the process: pairings of one class share theirs.
    """
    pollen = PollenClass(treatment, packing, heat_class, frozen_days)
    columns = -(-(wait_days + 1) // WAIT_BLOCK_DAYS) * WAIT_BLOCK_DAYS
    return EffectTable(pollen, tuple(int(day) for day in parcel_days), columns)


def _lengthen(rows: Rows, keys: Sequence[RowKey], columns: int, block_stop: BlockStop, block: Block) -> None:
    """Reckon the columns that rows of one class do not have yet.

    Block by block: sums of single-precision numbers must not depend on what was asked before.
    """
    nothing = np.zeros(0)
    for known in {rows.get(key, nothing).size for key in keys}:
        same = [key for key in keys if rows.get(key, nothing).size == known]
        first = known
        while first < columns:
            stop = block_stop(first)
            for key, more in zip(same, block(same, first, stop), strict=True):
                rows[key] = np.concatenate([rows.get(key, nothing), more])
            first = stop


def _mean_block_stop(first: int) -> int:
    return EACH_DAY_UNTIL if first == 0 else BLOCK_GROWTH * first


def _mean_block(keys: Sequence[RowKey], first: int, stop: int) -> FloatArray:
    ages, draws = _aged(keys, draws_used(keys[0][1].treatment))
    rate = live_effect_rates()[: draws.q10.size]
    if first == 0:
        mean = mean_aged_effect(draws, rate, ages, np.arange(stop, dtype=np.float64), dtype=PRECISION)
    else:
        nodes, spread = day_nodes(first, stop, NODES)
        mean = mean_aged_effect(draws, rate, ages, nodes, dtype=PRECISION) @ spread
    return np.where(mean < constants.NEGLIGIBLE_EFFECT.value, 0.0, mean)


def _low_block_stop(first: int) -> int:
    return first + WAIT_BLOCK_DAYS


def _low_block(keys: Sequence[RowKey], first: int, stop: int) -> FloatArray:
    ages, draws = _aged(keys, int(constants.RANGE_DRAW_COUNT.value))
    rate, waits = live_effect_rates()[: draws.q10.size], np.arange(first, stop, dtype=np.float64)
    return low_aged_effect(draws, rate, ages, waits, constants.LOW_QUANTILE.value, dtype=PRECISION)


def _aged(keys: Sequence[RowKey], count: int) -> tuple[FloatArray, ViabilityDraws]:
    """Thermal age of the first draws when rows of one class leave their parcels, and those draws."""
    pollen, days = keys[0][1], [key[-1] for key in keys]
    in_parcel = parcel_age_days(pollen.packing, pollen.heat_class_c, max(days))[:count, days]
    ages = posting_age_days(pollen.treatment, pollen.frozen_days)[:count, None] + in_parcel
    return ages, first_draws(prior_draws(pollen.treatment), count)


def draws_used(treatment: Treatment) -> int:
    """How many draws a table takes: fewer for frozen pollen, whose table differs from day to day."""
    used = constants.FROZEN_DRAW_COUNT if treatment == "frozen" else constants.DRAW_COUNT
    return int(used.value)


def first_draws(draws: ViabilityDraws, count: int) -> ViabilityDraws:
    """The first ``count`` draws; the points are a sequence, so any beginning of it is evenly spread."""
    weight = draws.weight[:count]
    return ViabilityDraws(
        initial=draws.initial[:count],
        half_life_days=draws.half_life_days[:count],
        shape=draws.shape[:count],
        q10=draws.q10[:count],
        weight=weight / weight.sum(),
    )
