"""Live effect left after the parcel and the wait: one table for a treatment, packing and heat class.

Cells are (days in the parcel, days at 4 °C besides). Waiting at the donor's and at the recipient's
is the same to the pollen, so one table serves every posting day.
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from exchange.science import constants
from exchange.science.aged_effect import aged_effect
from exchange.science.arrays import FloatArray, IntegerArray
from exchange.science.live_effect import live_effect_rates
from exchange.science.packing import Packing
from exchange.science.parcel import thermal_age_in_parcel_days
from exchange.science.thermal_age import constant_temperature_age, rate_factor
from exchange.science.viability import Treatment, ViabilityDraws, prior_draws

WAIT_BLOCK_DAYS = 60
PARCEL_BLOCK_DAYS = 120
PRECISION: type[np.float64] | type[np.float32] = np.float32
"""Of the inner loop: float32 moves no chance by more than 1e-6; tests hold float64 against brute force."""


@dataclass(frozen=True)
class EffectTable:
    """Mean and 10 % quantile of the live effect, arrays (parcel days + 1, wait days + 1)."""

    mean: FloatArray
    low: FloatArray


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


RowKey = tuple[type, Treatment, Packing, float, int, int]
_rows: dict[RowKey, tuple[FloatArray, FloatArray]] = {}


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
    pollen. What falls below the negligible effect is zero, and so are rows not asked for. Rows are kept
    for the life of the process: pairings of one class share theirs.
    """
    wanted = -(-(wait_days + 1) // WAIT_BLOCK_DAYS) * WAIT_BLOCK_DAYS
    keys: list[RowKey] = [
        (PRECISION, treatment, packing, heat_class, frozen_days, int(day)) for day in parcel_days
    ]
    for known in {_known_columns(key) for key in keys}:
        same = [key for key in keys if _known_columns(key) == known]
        # Block by block: sums of single-precision numbers must not depend on what was asked before.
        for start in range(known, wanted, WAIT_BLOCK_DAYS):
            _rows_lengthen(same, start, start + WAIT_BLOCK_DAYS)
    table = EffectTable(*(np.zeros((int(parcel_days.max()) + 1, wanted)) for _ in range(2)))
    for key in keys:
        table.mean[key[-1]], table.low[key[-1]] = (row[:wanted] for row in _rows[key])
    return table


def _known_columns(key: RowKey) -> int:
    return _rows[key][0].size if key in _rows else 0


def _rows_lengthen(keys: list[RowKey], known: int, wanted: int) -> None:
    """Reckon the columns that rows of one class do not have yet."""
    _, treatment, packing, heat_class, frozen_days, _ = keys[0]
    days = [key[-1] for key in keys]
    in_parcel = parcel_age_days(packing, heat_class, max(days))[:, days]
    ages = posting_age_days(treatment, frozen_days)[:, None] + in_parcel
    draws = first_draws(prior_draws(treatment), draws_used(treatment))
    count = draws.q10.size
    waits = np.arange(known, wanted, dtype=np.float64)
    means, lows = aged_effect(draws, live_effect_rates()[:count], ages[:count], waits, dtype=PRECISION)
    negligible = means < constants.NEGLIGIBLE_EFFECT.value
    means[negligible] = lows[negligible] = 0.0
    for key, mean, low in zip(keys, means, lows, strict=True):
        before = _rows.get(key, (np.zeros(0), np.zeros(0)))
        _rows[key] = np.concatenate([before[0], mean]), np.concatenate([before[1], low])


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
