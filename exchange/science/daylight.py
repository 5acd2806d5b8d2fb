"""Day length by day of year, and sunrise, sunset and dusk at a place on a local date."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import Constant

_CBM = "Forsythe et al. 1995, Ecol. Modelling 80:87-95, as printed in the source of geosphere"
_NOAA = "NOAA solar calculator (after Meeus, Astronomical Algorithms), as printed in the source of astral"

REVOLUTION_OFFSET = Constant(0.2163108, "rad", _CBM, "read")
REVOLUTION_FACTOR = Constant(0.9671396, "", _CBM, "read")
REVOLUTION_RATE = Constant(0.00860, "rad/d", _CBM, "read")
REVOLUTION_DAY = Constant(186.0, "d", _CBM, "read")
DECLINATION_SINE = Constant(0.39795, "", _CBM, "read")
SUNRISE_DEPRESSION_DEG = Constant(0.8333, "°", _CBM, "read")


def _powers(unit: str, *values: float) -> tuple[Constant, ...]:
    return tuple(
        Constant(value, f"{unit}/century^{power}", _NOAA, "abstract") for power, value in enumerate(values)
    )


MEAN_LONGITUDE = _powers("°", 280.46646, 36000.76983, 0.0003032)
MEAN_ANOMALY = _powers("°", 357.52911, 35999.05029, -0.0001537)
ECCENTRICITY = _powers("", 0.016708634, -0.000042037, -0.0000001267)
CENTRE_WAVES = (
    _powers("°", 1.914602, -0.004817, -0.000014),
    _powers("°", 0.019993, -0.000101),
    _powers("°", 0.000289),
)
LUNAR_NODE = _powers("°", 125.04, -1934.136)
OBLIQUITY = _powers('"', 23.0 * 3600.0 + 26.0 * 60.0 + 21.448, -46.815, -0.00059, 0.001813)
ABERRATION_DEG = Constant(0.00569, "°", _NOAA, "abstract")
LONGITUDE_NUTATION_DEG = Constant(0.00478, "°", _NOAA, "abstract")
OBLIQUITY_NUTATION_DEG = Constant(0.00256, "°", _NOAA, "abstract")
SUNRISE_ZENITH_DEG = Constant(90.833, "°", "NOAA, General Solar Position Calculations", "read")
CIVIL_DUSK_ZENITH_DEG = Constant(96.0, "°", "civil twilight: the sun's centre 6° down", "memory")

FIRST_YEAR, LAST_YEAR = 1901, 2099
MINUTES_PER_DEGREE = 4.0
NOON_MINUTES = 720.0
EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)
DAYS_PER_CENTURY = 36525.0


@dataclass(frozen=True)
class SunTimes:
    """Sunrise, sunset and civil dusk of one local date in the place's zone; None if there is none."""

    sunrise: datetime | None
    sunset: datetime | None
    dusk: datetime | None


@overload
def day_length_hours(latitude_deg: float, day_of_year: float, depression_deg: float = ...) -> float: ...
@overload
def day_length_hours(
    latitude_deg: float, day_of_year: FloatArray, depression_deg: float = ...
) -> FloatArray: ...
def day_length_hours(
    latitude_deg: float, day_of_year: ArrayLike, depression_deg: float = SUNRISE_DEPRESSION_DEG.value
) -> float | FloatArray:
    """Give the hours of daylight at a latitude on a day of the year.

    Parameters
    ----------
    latitude_deg : float
        Latitude, degrees north, -90 to 90.
    day_of_year : float or FloatArray, any shape
        Day of the year, 1 to 366.
    depression_deg : float
        How far the sun's centre is below the horizon when day ends, degrees, 0 to 18: 0 is its
        centre on the horizon, 0.8333 sunset, 6 civil dusk.

    Returns
    -------
    float or FloatArray, shape of ``day_of_year``
        Day length, hours, 0 (polar night) to 24 (midnight sun).

    Raises
    ------
    ValueError
        If an argument is out of range or not a number.

    Notes
    -----
    The model knows no leap years: near the equinox it is up to 0.1 h off an ephemeris at 55 degrees
    and 0.2 h at 70 degrees.

    References
    ----------
    Forsythe, Rykiel, Stahl, Wu & Schoolfield 1995, Ecol. Modelling 80:87-95 (model "CBM").
    """
    check_range("latitude_deg", latitude_deg, -90.0, 90.0)
    check_range("day_of_year", day_of_year, 1.0, 366.0)
    check_range("depression_deg", depression_deg, 0.0, 18.0)
    latitude = math.radians(latitude_deg)
    days = np.asarray(day_of_year, dtype=np.float64) - REVOLUTION_DAY.value
    revolution = REVOLUTION_OFFSET.value + 2.0 * np.arctan(
        REVOLUTION_FACTOR.value * np.tan(REVOLUTION_RATE.value * days)
    )
    declination = np.arcsin(DECLINATION_SINE.value * np.cos(revolution))
    # cos(pi/2) is not zero in floating point, so a pole divides to a huge number that the clip cuts.
    reach = (math.sin(math.radians(depression_deg)) + math.sin(latitude) * np.sin(declination)) / (
        math.cos(latitude) * np.cos(declination)
    )
    hours: FloatArray = 24.0 - 24.0 / math.pi * np.arccos(np.clip(reach, -1.0, 1.0))
    return float(hours) if hours.ndim == 0 else hours


def sun_times(latitude_deg: float, longitude_deg: float, local_date: date, zone: tzinfo) -> SunTimes:
    """Give sunrise, sunset and civil dusk of a local date.

    Parameters
    ----------
    latitude_deg : float
        Latitude, degrees north, -90 to 90.
    longitude_deg : float
        Longitude, degrees east, -180 to 180.
    local_date : date
        Civil date at the place, year 1901 to 2099.
    zone : tzinfo
        Zone of the place.

    Returns
    -------
    SunTimes
        Aware datetimes in ``zone``, to the second; None for an event that does not happen.

    Raises
    ------
    ValueError
        If an argument is out of range or not a number.

    Notes
    -----
    The events are those before and after the noon (sun highest) that falls on ``local_date``. Going
    by the UTC date would book Denver's sunset a day late and Sydney's sunrise a day early. Where the
    sun sets after midnight (far north in June) that sunset stays with the evening that it ends.

    References
    ----------
    NOAA solar calculator, after Meeus, Astronomical Algorithms. The shorter Fourier series of NOAA's
    General Solar Position Calculations was tried first: it knows no leap years and was up to 2.4
    minutes off at 40 degrees and 4.2 minutes at 59 degrees (own computation, 2024-2028).
    """
    check_range("latitude_deg", latitude_deg, -90.0, 90.0)
    check_range("longitude_deg", longitude_deg, -180.0, 180.0)
    check_range("local_date's year", local_date.year, FIRST_YEAR, LAST_YEAR)
    noon = _solar_noon(longitude_deg, local_date, zone)

    def event(zenith: Constant, side: float) -> datetime | None:
        moment = _crossing(noon, latitude_deg, zenith.value, side)
        return None if moment is None else _to_second(moment).astimezone(zone)

    return SunTimes(
        sunrise=event(SUNRISE_ZENITH_DEG, -1.0),
        sunset=event(SUNRISE_ZENITH_DEG, 1.0),
        dusk=event(CIVIL_DUSK_ZENITH_DEG, 1.0),
    )


def _solar_noon(longitude_deg: float, local_date: date, zone: tzinfo) -> datetime:
    midday = datetime.combine(local_date, time(12), tzinfo=zone).astimezone(UTC)
    mean_noon_minutes = NOON_MINUTES - MINUTES_PER_DEGREE * longitude_deg
    nearest: list[datetime] = []
    for shift_days in (-1, 0, 1):
        midnight = datetime.combine(local_date + timedelta(days=shift_days), time(0), tzinfo=UTC)
        mean_noon = midnight + timedelta(minutes=mean_noon_minutes)
        nearest.append(mean_noon - timedelta(minutes=_equation_of_time_minutes(mean_noon)))
    return min(nearest, key=lambda noon: abs(noon - midday))


def _crossing(noon: datetime, latitude_deg: float, zenith_deg: float, side: float) -> datetime | None:
    moment = noon
    # The second pass takes the declination of the event itself, not of noon: a minute at 70 degrees.
    for _ in range(2):
        angle_deg = _hour_angle_deg(latitude_deg, _declination(moment), zenith_deg)
        if angle_deg is None:
            return None
        drift_minutes = _equation_of_time_minutes(noon) - _equation_of_time_minutes(moment)
        moment = noon + timedelta(minutes=side * MINUTES_PER_DEGREE * angle_deg + drift_minutes)
    return moment


def _hour_angle_deg(latitude_deg: float, declination: float, zenith_deg: float) -> float | None:
    latitude = math.radians(latitude_deg)
    cosine = (math.cos(math.radians(zenith_deg)) - math.sin(latitude) * math.sin(declination)) / (
        math.cos(latitude) * math.cos(declination)
    )
    return math.degrees(math.acos(cosine)) if abs(cosine) <= 1.0 else None


def _equation_of_time_minutes(moment: datetime) -> float:
    century = _century(moment)
    longitude = math.radians(_polynomial(MEAN_LONGITUDE, century))
    anomaly = math.radians(_polynomial(MEAN_ANOMALY, century))
    eccentricity = _polynomial(ECCENTRICITY, century)
    tilt = math.tan(_obliquity(century) / 2.0) ** 2
    angle = (
        tilt * math.sin(2.0 * longitude)
        - 2.0 * eccentricity * math.sin(anomaly)
        + 4.0 * eccentricity * tilt * math.sin(anomaly) * math.cos(2.0 * longitude)
        - 0.5 * tilt**2 * math.sin(4.0 * longitude)
        - 1.25 * eccentricity**2 * math.sin(2.0 * anomaly)
    )
    return MINUTES_PER_DEGREE * math.degrees(angle)


def _declination(moment: datetime) -> float:
    century = _century(moment)
    anomaly = math.radians(_polynomial(MEAN_ANOMALY, century))
    centre_deg = sum(
        _polynomial(size, century) * math.sin(order * anomaly)
        for order, size in enumerate(CENTRE_WAVES, start=1)
    )
    node = math.radians(_polynomial(LUNAR_NODE, century))
    nutation_deg = LONGITUDE_NUTATION_DEG.value * math.sin(node)
    longitude_deg = _polynomial(MEAN_LONGITUDE, century) + centre_deg - ABERRATION_DEG.value - nutation_deg
    return math.asin(math.sin(_obliquity(century)) * math.sin(math.radians(longitude_deg)))


def _obliquity(century: float) -> float:
    node = math.radians(_polynomial(LUNAR_NODE, century))
    return math.radians(
        _polynomial(OBLIQUITY, century) / 3600.0 + OBLIQUITY_NUTATION_DEG.value * math.cos(node)
    )


def _polynomial(powers: tuple[Constant, ...], century: float) -> float:
    return sum(constant.value * century**power for power, constant in enumerate(powers))


def _century(moment: datetime) -> float:
    return (moment - EPOCH) / timedelta(days=DAYS_PER_CENTURY)


def _to_second(moment: datetime) -> datetime:
    return (moment + timedelta(microseconds=500_000)).replace(microsecond=0)
