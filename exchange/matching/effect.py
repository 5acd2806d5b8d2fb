"""Live effect left after the parcel and the wait: one table for a treatment, packing and heat class.

Cells are (days in the parcel, days at 4 °C besides). Waiting at the donor's and at the recipient's
is the same to the pollen, so one table serves every posting day.
"""

from dataclasses import dataclass

import numpy as np

from exchange.science import constants
from exchange.science.aged_effect import aged_effect
from exchange.science.arrays import FloatArray, IntegerArray
from exchange.science.live_effect import live_effect_rates
from exchange.science.packing import Packing
from exchange.science.parcel import thermal_age_in_parcel_days
from exchange.science.thermal_age import constant_temperature_age
from exchange.science.viability import Treatment, ViabilityDraws, prior_draws

WAIT_BLOCK_DAYS = 60
PRECISION: type[np.float64] | type[np.float32] = np.float32
"""Of the inner loop: float32 moves no chance by more than 1e-6; tests hold float64 against brute force."""


@dataclass(frozen=True)
class EffectTable:
    """Mean and 10 % quantile of the live effect, arrays (parcel days + 1, wait days + 1)."""

    mean: FloatArray
    low: FloatArray


def dispatch_age_days(treatment: Treatment) -> FloatArray:
    """Thermal age of pollen collected on request when it is packed: drying counts, resting comes extra."""
    draws = prior_draws(treatment)
    if treatment == "fresh":
        return np.zeros(draws.q10.shape)
    days = constants.DRYING_HOURS.value / 24.0
    age: FloatArray = constant_temperature_age(days, constants.DRYING_TEMPERATURE_C.value, draws.q10)
    return age.reshape(-1)


RowKey = tuple[type, Treatment, Packing, float, int]
_rows: dict[RowKey, tuple[FloatArray, FloatArray]] = {}


def effect_table(
    treatment: Treatment, packing: Packing, heat_class: float, parcel_days: IntegerArray, wait_days: int
) -> EffectTable:
    """Live effect of pollen collected on request, for the parcel days asked for and up to so many waits.

    Rows are kept for the life of the process: pairings of one class share theirs.
    """
    wanted = -(-(wait_days + 1) // WAIT_BLOCK_DAYS) * WAIT_BLOCK_DAYS
    keys: list[RowKey] = [(PRECISION, treatment, packing, heat_class, int(day)) for day in parcel_days]
    missing = [key for key in keys if key not in _rows or _rows[key][0].size < wanted]
    if missing:
        made = effect_of_age(
            prior_draws(treatment),
            dispatch_age_days(treatment),
            packing=packing,
            heat_class=heat_class,
            parcel_days=np.array([key[-1] for key in missing]),
            wait_days=wanted - 1,
        )
        _rows.update({key: (made.mean[key[-1]], made.low[key[-1]]) for key in missing})
    table = EffectTable(*(np.zeros((int(parcel_days.max()) + 1, wanted)) for _ in range(2)))
    for key in keys:
        table.mean[key[-1]], table.low[key[-1]] = (row[:wanted] for row in _rows[key])
    return table


def effect_of_age(
    draws: ViabilityDraws,
    age_days: FloatArray,
    *,
    packing: Packing,
    heat_class: float,
    parcel_days: IntegerArray,
    wait_days: int,
) -> EffectTable:
    """Live effect of pollen that has reached ``age_days`` (one for each draw) when it is posted.

    The effect is evaluated for each draw with its own Q10 and averaged last; averaging ages first
    would flatter old pollen. Rows of parcel days that are not asked for stay zero, and so does what
    falls below the negligible effect.
    """
    hours = np.asarray(parcel_days * constants.HOURS_PER_DAY.value, dtype=np.float64)
    ages = age_days[:, None] + thermal_age_in_parcel_days(packing, heat_class, hours, draws.q10)
    waits = np.arange(wait_days + 1, dtype=np.float64)
    means, lows = aged_effect(draws, live_effect_rates(), ages, waits, dtype=PRECISION)
    mean = np.zeros((int(parcel_days.max()) + 1, wait_days + 1))
    low = np.zeros_like(mean)
    mean[parcel_days], low[parcel_days] = means, lows
    negligible = mean < constants.NEGLIGIBLE_EFFECT.value
    mean[negligible] = low[negligible] = 0.0
    return EffectTable(mean, low)
