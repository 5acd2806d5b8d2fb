"""Water temperature of a pond or tub from daily air temperature."""

import math
from dataclasses import dataclass

import numpy as np

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.climate import DAYS_IN_YEAR
from exchange.science.constants import Constant

_TOFFOLON = "Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, doi 10.4319/lo.2014.59.6.2185, table 4"
SPIN_UP_YEARS = 3
AIR_LOWEST_C, AIR_HIGHEST_C = -90.0, 60.0
DEEPEST_M = 10.0


@dataclass(frozen=True)
class LakeParameters:
    """Fitted heat balance ``dTw/dt = a1 + a2 Ta - a3 Tw`` of one well-mixed shallow lake."""

    a1: Constant
    a2: Constant
    a3: Constant

    @property
    def response_days(self) -> float:
        """Time constant 1/a3, days."""
        return 1.0 / self.a3.value

    @property
    def intercept_c(self) -> float:
        """Equilibrium water temperature at 0 °C of air, a1/a3, °C."""
        return self.a1.value / self.a3.value

    @property
    def slope(self) -> float:
        """Equilibrium water temperature per degree of air, a2/a3."""
        return self.a2.value / self.a3.value


NEUSIEDL = LakeParameters(
    Constant(-0.0862, "°C/d", f"{_TOFFOLON}, Neusiedl", "read"),
    Constant(0.182, "1/d", f"{_TOFFOLON}, Neusiedl", "read"),
    Constant(0.171, "1/d", f"{_TOFFOLON}, Neusiedl", "read"),
)
BALATON = LakeParameters(
    Constant(-0.131, "°C/d", f"{_TOFFOLON}, Balaton", "read"),
    Constant(0.134, "1/d", f"{_TOFFOLON}, Balaton", "read"),
    Constant(0.121, "1/d", f"{_TOFFOLON}, Balaton", "read"),
)


def linear_water_temperature(air_c: FloatArray) -> FloatArray:
    """Estimate daily water temperature from the same day's air temperature by a straight line.

    Parameters
    ----------
    air_c : FloatArray, any shape
        Daily mean air temperature, °C, -90 to 60.

    Returns
    -------
    FloatArray, shape of ``air_c``
        Water temperature, °C, at least 0.1.

    Raises
    ------
    ValueError
        If an air temperature is out of range or not a number.

    References
    ----------
    Stefan & Preud'homme 1993, Water Resour. Bull. 29:27-45; streams of Minnesota.
    """
    check_range("air_c", air_c, AIR_LOWEST_C, AIR_HIGHEST_C)
    line = constants.STEFAN_INTERCEPT_C.value + constants.STEFAN_SLOPE.value * np.asarray(air_c, np.float64)
    return np.maximum(line, constants.STEFAN_LOWEST_C.value)


def response_days_of_depth(depth_m: float) -> float:
    """Give the default response time of water of a depth.

    Parameters
    ----------
    depth_m : float
        Mean depth, m, above 0 to 10.

    Returns
    -------
    float
        Response time, days: 2 below 0.6 m (tub), 4 up to 1.5 m (pond), else 6.

    Raises
    ------
    ValueError
        If the depth is out of range or not a number.

    Notes
    -----
    Steps, not a formula (judgement): the depth regressions of Piccolroaz 2016 give tubs a slope of
    1.4 water degrees per air degree, far above any fitted one.
    """
    check_positive("depth_m", depth_m)
    check_range("depth_m", depth_m, 0.0, DEEPEST_M)
    if depth_m < constants.TUB_DEPTH_BELOW_M.value:
        return constants.RESPONSE_TUB_DAYS.value
    if depth_m <= constants.POND_DEPTH_UP_TO_M.value:
        return constants.RESPONSE_POND_DAYS.value
    return constants.RESPONSE_LARGE_DAYS.value


def equilibrium_temperature(
    air_c: FloatArray,
    *,
    intercept_c: float = constants.POND_INTERCEPT_C.value,
    slope: float = constants.POND_SLOPE.value,
) -> FloatArray:
    """Give the temperature that water would reach if the air stayed as it is.

    Parameters
    ----------
    air_c : FloatArray, any shape
        Daily mean air temperature, °C, -90 to 60.
    intercept_c : float
        Water temperature at 0 °C of air, °C, -20 to 20.
    slope : float
        Water degrees per air degree, above 0 to 2.

    Returns
    -------
    FloatArray, shape of ``air_c``
        Equilibrium temperature, °C, at most 34: evaporation holds hot water back.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number.

    References
    ----------
    Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, eq. 9-15 (without the cut at 34 °C, which
    is judgement).
    """
    check_range("air_c", air_c, AIR_LOWEST_C, AIR_HIGHEST_C)
    check_range("intercept_c", intercept_c, -20.0, 20.0)
    check_positive("slope", slope)
    check_range("slope", slope, 0.0, 2.0)
    line = intercept_c + slope * np.asarray(air_c, dtype=np.float64)
    return np.minimum(line, constants.EQUILIBRIUM_HIGHEST_C.value)


def follow_equilibrium(equilibrium_c: FloatArray, start_c: float, response_days: float) -> FloatArray:
    """Let water follow a daily equilibrium temperature with a first-order lag.

    Parameters
    ----------
    equilibrium_c : FloatArray, shape (days,)
        Equilibrium temperature of each day, °C, constant within the day, -200 to 60.
    start_c : float
        Water temperature before the first day, °C, 0 to 60.
    response_days : float
        Response time, days, above 0 to 60.

    Returns
    -------
    FloatArray, shape (days,)
        Water temperature at the end of each day, °C, never below 0.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number.

    Notes
    -----
    The step ``1 - exp(-1/response_days)`` is exact for air that is constant within a day; the
    explicit step ``1/response_days`` overshoots in a tub.

    References
    ----------
    Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, eq. 9-15.
    """
    check_range("equilibrium_c", equilibrium_c, -200.0, 60.0)
    check_range("start_c", start_c, 0.0, 60.0)
    check_positive("response_days", response_days)
    check_range("response_days", response_days, 0.0, 60.0)
    share = -math.expm1(-1.0 / response_days)
    lowest = constants.POND_LOWEST_C.value
    water = float(start_c)
    path: list[float] = []
    for target in equilibrium_c.tolist():
        water = max(lowest, water + share * (target - water))
        path.append(water)
    return np.array(path, dtype=np.float64)


def pond_temperature(
    air_c: FloatArray,
    response_days: float,
    *,
    intercept_c: float = constants.POND_INTERCEPT_C.value,
    slope: float = constants.POND_SLOPE.value,
) -> FloatArray:
    """Give a normal year's daily water temperature of a pond from a normal year's air temperature.

    Parameters
    ----------
    air_c : FloatArray, shape (365,)
        Daily mean air temperature from 1 January, °C, -90 to 60.
    response_days : float
        Response time of the water, days, above 0 to 60.
    intercept_c : float
        Water temperature at 0 °C of air, °C, -20 to 20.
    slope : float
        Water degrees per air degree, above 0 to 2.

    Returns
    -------
    FloatArray, shape (365,)
        Daily water temperature from 1 January, °C, 0 to 34: the third year in a row of the same
        air, so that it does not matter where the water began.

    Raises
    ------
    ValueError
        If the year has not 365 days, or an argument is out of range or not a number.

    References
    ----------
    Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, eq. 9-15.
    """
    if air_c.shape != (DAYS_IN_YEAR,):
        raise ValueError(f"air_c has shape {air_c.shape}; allowed: ({DAYS_IN_YEAR},).")
    target = equilibrium_temperature(air_c, intercept_c=intercept_c, slope=slope)
    start_c = max(constants.POND_LOWEST_C.value, float(target.mean()))
    years = follow_equilibrium(np.tile(target, SPIN_UP_YEARS), start_c, response_days)
    return years[-DAYS_IN_YEAR:]


def annual_amplitude_ratio(response_days: float, slope: float) -> float:
    """Give how wide the water's annual wave is for each degree of the air's.

    Parameters
    ----------
    response_days : float
        Response time, days, above 0 to 60.
    slope : float
        Water degrees per air degree, above 0 to 2.

    Returns
    -------
    float
        Amplitude of water over amplitude of air.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number.

    References
    ----------
    Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, eq. 12-14.
    """
    check_positive("slope", slope)
    check_range("slope", slope, 0.0, 2.0)
    return slope * math.cos(_annual_phase(response_days))


def annual_lag_days(response_days: float) -> float:
    """Give how long the water's annual wave comes after the air's.

    Parameters
    ----------
    response_days : float
        Response time, days, above 0 to 60.

    Returns
    -------
    float
        Lag, days.

    Raises
    ------
    ValueError
        If the response time is out of range or not a number.

    References
    ----------
    Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, eq. 12-14.
    """
    return _annual_phase(response_days) * DAYS_IN_YEAR / (2.0 * math.pi)


def _annual_phase(response_days: float) -> float:
    check_positive("response_days", response_days)
    check_range("response_days", response_days, 0.0, 60.0)
    return math.atan(2.0 * math.pi * response_days / DAYS_IN_YEAR)
