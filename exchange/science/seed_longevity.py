"""Published equations of other plants, kept as comparison: seed longevity, water in teosinte pollen."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import (
    BARLEY_INTERCEPT,
    BARLEY_MOISTURE,
    BARLEY_TEMPERATURE_LINEAR,
    BARLEY_TEMPERATURE_SQUARE,
    SEED_TEMPERATURE_LINEAR,
    SEED_TEMPERATURE_SQUARE,
    TEOSINTE_POTENTIAL_MPA,
    TEOSINTE_POTENTIAL_POWER,
)

COEFFICIENT_MINIMUM_C = -20.0
COEFFICIENT_MAXIMUM_C = 90.0


@dataclass(frozen=True)
class SeedSpecies:
    """Constants of the seed viability equation: K_E, C_W, C_H (per °C), C_Q (per °C²)."""

    intercept: float
    moisture: float
    temperature_linear: float
    temperature_square: float


BARLEY = SeedSpecies(
    BARLEY_INTERCEPT.value,
    BARLEY_MOISTURE.value,
    BARLEY_TEMPERATURE_LINEAR.value,
    BARLEY_TEMPERATURE_SQUARE.value,
)


def seed_sd_days(species: SeedSpecies, moisture_percent: float, temperature_c: float) -> float:
    """Give the days in which stored seed loses one probit of viability.

    Parameters
    ----------
    species : SeedSpecies
        Constants of the species.
    moisture_percent : float
        Water, per cent of fresh weight, 1.8 to 25.
    temperature_c : float
        −20 to 90 °C.

    Returns
    -------
    float
        σ, days.

    Raises
    ------
    ValueError
        If moisture or temperature is out of range.

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13–30 [abstract]: log10 σ = K_E − C_W log10 m − C_H t − C_Q t².
    No constants of any pollen could be read.
    """
    check_range("moisture_percent", moisture_percent, 1.8, 25.0)
    check_range("temperature_c", temperature_c, COEFFICIENT_MINIMUM_C, COEFFICIENT_MAXIMUM_C)
    exponent = (
        species.intercept
        - species.moisture * np.log10(moisture_percent)
        - species.temperature_linear * temperature_c
        - species.temperature_square * temperature_c**2
    )
    return float(10.0**exponent)


def seed_longevity_ratio(warm_c: float, cool_c: float) -> float:
    """Give how many times longer seed lives at one temperature than at another.

    Parameters
    ----------
    warm_c, cool_c : float
        −20 to 90 °C.

    Returns
    -------
    float
        Life at ``cool_c`` over life at ``warm_c``, same moisture.

    Raises
    ------
    ValueError
        If a temperature is out of range.

    References
    ----------
    Universal coefficients as quoted from Dickie et al. 1990, Ann. Bot. 65:197–204 [abstract]; seeds of
    eight species, −13 to 90 °C, not pollen; −20 °C is already beyond them.
    """
    check_range("warm_c", warm_c, COEFFICIENT_MINIMUM_C, COEFFICIENT_MAXIMUM_C)
    check_range("cool_c", cool_c, COEFFICIENT_MINIMUM_C, COEFFICIENT_MAXIMUM_C)
    linear = SEED_TEMPERATURE_LINEAR.value * (warm_c - cool_c)
    square = SEED_TEMPERATURE_SQUARE.value * (warm_c**2 - cool_c**2)
    return float(10.0 ** (linear + square))


def teosinte_water_potential_mpa(relative_water_content: ArrayLike) -> FloatArray:
    """Give the water potential of teosinte pollen at its water content.

    Parameters
    ----------
    relative_water_content : array_like
        Water against that of fresh pollen, dry-weight basis, 0.05 to 1.

    Returns
    -------
    FloatArray
        Shape of the input, MPa, negative.

    Raises
    ------
    ValueError
        If the water content is out of range.

    References
    ----------
    Aylor et al. 2005, J. Exp. Bot., doi 10.1093/jxb/eri232 [abstract]: ψ = −4.13 θ^(−1.23), r² 0.77.
    Which kind of pollen *Nymphaea* has, wet or dry at shedding, was not found.
    """
    check_range("relative_water_content", relative_water_content, 0.05, 1.0)
    content = np.asarray(relative_water_content, dtype=np.float64)
    potential: FloatArray = TEOSINTE_POTENTIAL_MPA.value * content**TEOSINTE_POTENTIAL_POWER.value
    return potential
