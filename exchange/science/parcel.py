"""Temperature of a cooled parcel: cold while the coolant melts, then warming towards the ambient."""

from dataclasses import dataclass
from math import ceil, inf, log

import numpy as np
from scipy.special import expi

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.packing import (
    COLDEST_C,
    DEFAULT_PACKING,
    HOTTEST_C,
    SECONDS_PER_HOUR,
    UNCOOLED_PACKING,
    Packing,
    heat_conductance_w_k,
)
from exchange.science.thermal_age import rate_factor

__all__ = [
    "DEFAULT_PACKING",
    "UNCOOLED_PACKING",
    "Packing",
    "ambient_temperature_c",
    "heat_class_c",
    "heat_conductance_w_k",
    "hours_below",
    "hours_cold",
    "parcel_temperature_c",
    "thermal_age_in_parcel_days",
    "warm_up_time_constant_hours",
]


def hours_cold(packing: Packing, ambient_c: float) -> float:
    """Hours until the coolant has melted at a constant ambient temperature.

    Parameters
    ----------
    packing : Packing
    ambient_c : float
        Temperature round the parcel, °C, -90 to 60.

    Returns
    -------
    float
        Hours; 0 without coolant, infinite where the ambient does not melt it.

    Raises
    ------
    ValueError
        If ``ambient_c`` is out of its range.
    """
    check_range("ambient_c", ambient_c, COLDEST_C, HOTTEST_C)
    if packing.ice_kg == 0.0:
        return 0.0
    leak_w = heat_conductance_w_k(packing) * (ambient_c - packing.coolant_melting_c)
    if leak_w <= 0.0:  # also where a tiny difference leaks less than the smallest number
        return inf
    heat_j = packing.ice_kg * packing.coolant_latent_heat_j_kg
    return heat_j / leak_w / SECONDS_PER_HOUR


def warm_up_time_constant_hours(packing: Packing, *, coolant_frozen: bool = False) -> float:
    """Time in which the parcel's distance from the ambient falls to 1/e once no ice melts.

    Parameters
    ----------
    packing : Packing
    coolant_frozen : bool
        True below the melting point, where the coolant stays ice.

    Returns
    -------
    float
        Time constant, h.

    Notes
    -----
    Lumped capacitance: coolant and payload share one temperature.
    """
    specific = constants.HEAT_CAPACITY_ICE_J_KG_K.value if coolant_frozen else packing.coolant_heat_j_kg_k
    heat_j_k = packing.ice_kg * specific + packing.payload_kg * packing.payload_heat_j_kg_k
    return heat_j_k / heat_conductance_w_k(packing) / SECONDS_PER_HOUR


@dataclass(frozen=True)
class _Course:
    """Held at ``start_c`` for ``held_hours``, then exponentially towards ``ambient_c``."""

    start_c: float
    held_hours: float
    ambient_c: float
    time_constant_hours: float


def _course(packing: Packing, ambient_c: float) -> _Course:
    check_range("ambient_c", ambient_c, COLDEST_C, HOTTEST_C)
    melting = packing.coolant_melting_c
    if packing.ice_kg == 0.0:
        return _Course(ambient_c, 0.0, ambient_c, warm_up_time_constant_hours(packing))
    frozen = ambient_c < melting
    held = 0.0 if frozen else hours_cold(packing, ambient_c)
    constant = warm_up_time_constant_hours(packing, coolant_frozen=frozen)
    return _Course(melting, held, ambient_c, constant)


def parcel_temperature_c(packing: Packing, ambient_c: float, hours: FloatArray) -> FloatArray:
    """Temperature of the packet after so many hours at a constant ambient temperature.

    Parameters
    ----------
    packing : Packing
    ambient_c : float
        Temperature round the parcel, °C, -90 to 60.
    hours : FloatArray
        Hours since packing, shape (k,), at least 0.

    Returns
    -------
    FloatArray
        Temperature, °C, shape (k,).

    Raises
    ------
    ValueError
        If a number is out of its range.

    Notes
    -----
    Below its melting point the coolant does not melt and the parcel cools from that point.
    Without coolant the packet has the ambient temperature from the start.
    """
    check_range("hours", hours, 0.0, 1e5)
    course = _course(packing, ambient_c)
    free = np.maximum(np.asarray(hours, dtype=np.float64) - course.held_hours, 0.0)
    distance = course.start_c - course.ambient_c
    temperature: FloatArray = course.ambient_c + distance * np.exp(-free / course.time_constant_hours)
    return temperature


def hours_below(packing: Packing, ambient_c: float, limit_c: float) -> float:
    """Hours for which the packet stays below a temperature.

    Parameters
    ----------
    packing : Packing
    ambient_c, limit_c : float
        Temperature round the parcel and limit, °C, -90 to 60.

    Returns
    -------
    float
        Hours; 0 if it starts at or above the limit, infinite if the limit is never reached.

    Raises
    ------
    ValueError
        If a number is out of its range.
    """
    check_range("limit_c", limit_c, COLDEST_C, HOTTEST_C)
    course = _course(packing, ambient_c)
    if course.start_c >= limit_c:
        return 0.0
    return course.held_hours + _reach_hours(course, limit_c)


def _reach_hours(course: _Course, level_c: float) -> float:
    """Hours of the exponential phase until a level is reached; infinite if it never is."""
    whole = course.ambient_c - course.start_c
    left = course.ambient_c - level_c
    if whole == 0.0 or not 0.0 < left / whole <= 1.0:
        return inf
    return course.time_constant_hours * log(whole / left)


def thermal_age_in_parcel_days(
    packing: Packing, ambient_c: float, hours: FloatArray, q10: FloatArray
) -> FloatArray:
    """Thermal age gathered in the parcel after so many hours at a constant ambient temperature.

    Parameters
    ----------
    packing : Packing
    ambient_c : float
        Temperature round the parcel, °C, -90 to 60.
    hours : FloatArray
        Hours since packing, shape (k,), at least 0.
    q10 : FloatArray
        Factor of the rate for 10 K, shape (n,), above 0.

    Returns
    -------
    FloatArray
        Equivalent days at 4 °C, shape (n, k).

    Raises
    ------
    ValueError
        If a number is out of its range.

    Notes
    -----
    The rate is ``Q10^((T - 4)/10)``; below 0 °C that of 0 °C is used, so that freezing earns no
    credit. With ``x = ln(Q10)/10 · (ambient - start) · exp(-t/tau)`` the warm-up integrates in
    closed form to a difference of exponential integrals.
    """
    check_range("hours", hours, 0.0, 1e5)
    check_positive("q10", q10)
    course = _course(packing, ambient_c)
    factors = np.asarray(q10, dtype=np.float64)
    elapsed = np.asarray(hours, dtype=np.float64)[np.newaxis, :]
    held = np.minimum(elapsed, course.held_hours)
    held_age = rate_factor(course.start_c, factors)[:, np.newaxis] * held
    age: FloatArray = held_age + _relaxing_age_hours(course, elapsed - held, factors)
    return age / constants.HOURS_PER_DAY.value


def _relaxing_age_hours(course: _Course, hours: FloatArray, q10: FloatArray) -> FloatArray:
    """Age in hours at 4 °C of the exponential phase, split where it crosses the floor of the rate."""
    floor = constants.FREEZING_C.value
    crossing = _reach_hours(course, floor)
    floor_rate = rate_factor(floor, q10)[:, np.newaxis]
    if course.start_c < floor:
        still = np.minimum(hours, crossing)
        return floor_rate * still + _smooth_age_hours(course, floor, hours - still, q10)
    moving = hours if course.ambient_c >= floor else np.minimum(hours, crossing)
    return _smooth_age_hours(course, course.start_c, moving, q10) + floor_rate * (hours - moving)


def _smooth_age_hours(course: _Course, start_c: float, hours: FloatArray, q10: FloatArray) -> FloatArray:
    """Age of an exponential course on which the rate has no floor, in closed form."""
    slope = np.log(q10)[:, np.newaxis] / 10.0
    decays = hours / course.time_constant_hours
    first = slope * (course.ambient_c - start_c)
    last = first * np.exp(-decays)
    scale = np.exp(slope * (course.ambient_c - constants.REFERENCE_TEMPERATURE_C.value))
    equivalent = decays - (_entire_integral(first) - _entire_integral(last))
    age: FloatArray = course.time_constant_hours * scale * equivalent
    return age


def _entire_integral(argument: FloatArray) -> FloatArray:
    """Ein(x), the integral of (1 - e^-t)/t from 0 to x: finite at 0, unlike the integrals it replaces."""
    powers = np.arange(1, 21)
    coefficients = -np.cumprod(-1.0 / powers) / powers
    near = np.abs(argument) < 1.0
    small = np.where(near, argument, 0.0)
    large = np.where(near, 1.0, argument)
    series = small * np.polynomial.polynomial.polyval(small, coefficients)
    far = np.euler_gamma + np.log(np.abs(large)) - expi(-large)
    integral: FloatArray = np.where(near, series, far)
    return integral


def ambient_temperature_c(warmer_monthly_mean_c: float) -> float:
    """Temperature assumed round a parcel, from the monthly mean of the warmer end of its route.

    Parameters
    ----------
    warmer_monthly_mean_c : float
        Monthly mean air temperature, °C, -90 to 60.

    Returns
    -------
    float
        Temperature, °C, at most 60.

    Raises
    ------
    ValueError
        If ``warmer_monthly_mean_c`` is out of its range.

    Notes
    -----
    The 5 K for vans and depots are judgement; no standard ambient profile is claimed.
    """
    check_range("warmer_monthly_mean_c", warmer_monthly_mean_c, COLDEST_C, HOTTEST_C)
    return min(warmer_monthly_mean_c + constants.VEHICLE_WARMING_K.value, HOTTEST_C)


def heat_class_c(ambient_c: float) -> float:
    """Ambient temperature rounded up to the next step of 2.5 K, so that routes can share one result.

    Parameters
    ----------
    ambient_c : float
        Temperature round the parcel, °C, -90 to 60.

    Returns
    -------
    float
        Temperature of the class, °C, never below ``ambient_c``: a class never flatters its routes.

    Raises
    ------
    ValueError
        If ``ambient_c`` is out of its range.
    """
    check_range("ambient_c", ambient_c, COLDEST_C, HOTTEST_C)
    step = constants.HEAT_CLASS_STEP_K.value
    return ceil(ambient_c / step) * step
