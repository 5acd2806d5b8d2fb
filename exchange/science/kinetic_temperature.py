"""Mean kinetic temperature and other familiar summaries of heat: shown, never the model."""

import numpy as np
from numpy.typing import ArrayLike

from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range
from exchange.science.constants import GAS_CONSTANT, HOURS_PER_DAY, KELVIN_OFFSET, KINETIC_ACTIVATION_ENERGY
from exchange.science.temperature_history import check_history, check_temperature, with_crossings

ENERGY_MAXIMUM = 1e6


def _kelvin(temperature_c: ArrayLike) -> FloatArray:
    check_temperature(temperature_c)
    return np.asarray(temperature_c, dtype=np.float64) + KELVIN_OFFSET.value


def _check_energy(activation_energy: float) -> None:
    check_positive("activation_energy", activation_energy)
    check_range("activation_energy", activation_energy, 0.0, ENERGY_MAXIMUM)


def arrhenius_factor(temperature_c: ArrayLike, reference_c: float, activation_energy: float) -> FloatArray:
    """Give how much faster a reaction runs at one temperature than at another.

    Parameters
    ----------
    temperature_c : array_like
        −90 to 60 °C.
    reference_c : float
        −90 to 60 °C.
    activation_energy : float
        J/mol, above 0 to 1,000,000.

    Returns
    -------
    FloatArray
        Shape of ``temperature_c``, no unit; 1 at ``reference_c``.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    _check_energy(activation_energy)
    steps = 1.0 / _kelvin(reference_c) - 1.0 / _kelvin(temperature_c)
    factor: FloatArray = np.exp(activation_energy / GAS_CONSTANT.value * steps)
    return factor


def activation_energy_from_rates(
    rate: float, temperature_c: float, other_rate: float, other_c: float
) -> float:
    """Give the activation energy that two rates at two temperatures imply.

    Parameters
    ----------
    rate, other_rate : float
        Above 0, one unit.
    temperature_c, other_c : float
        −90 to 60 °C, not equal.

    Returns
    -------
    float
        J/mol.

    Raises
    ------
    ValueError
        If an input is out of range or the temperatures are equal.
    """
    _check_rates(rate, temperature_c, other_rate, other_c)
    steps = 1.0 / _kelvin(temperature_c) - 1.0 / _kelvin(other_c)
    return float(GAS_CONSTANT.value * np.log(other_rate / rate) / steps)


def q10_from_rates(rate: float, temperature_c: float, other_rate: float, other_c: float) -> float:
    """Give the factor for 10 K that two rates at two temperatures imply.

    Parameters
    ----------
    rate, other_rate : float
        Above 0, one unit.
    temperature_c, other_c : float
        −90 to 60 °C, not equal.

    Returns
    -------
    float
        Q10, no unit.

    Raises
    ------
    ValueError
        If an input is out of range or the temperatures are equal.
    """
    _check_rates(rate, temperature_c, other_rate, other_c)
    return float((other_rate / rate) ** (10.0 / (other_c - temperature_c)))


def _check_rates(rate: float, temperature_c: float, other_rate: float, other_c: float) -> None:
    check_positive("rate", rate)
    check_positive("other_rate", other_rate)
    check_temperature([temperature_c, other_c])
    if temperature_c == other_c:
        raise ValueError(f"other_c is {other_c:g}; allowed: another temperature than temperature_c.")


def _mean_kinetic_c(mean_relative_rate: FloatArray | float, top_k: float, energy: float) -> float:
    return float(
        1.0 / (1.0 / top_k - GAS_CONSTANT.value / energy * np.log(mean_relative_rate)) - KELVIN_OFFSET.value
    )


def mean_kinetic_temperature(
    temperature_c: FloatArray,
    weight: FloatArray | None = None,
    *,
    activation_energy: float = KINETIC_ACTIVATION_ENERGY.value,
) -> float:
    """Give the constant temperature that would age a first-order good as much as these readings.

    Parameters
    ----------
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.
    weight : FloatArray, optional
        Shape (k,), time each reading stands for, 0 or more; equal by default.
    activation_energy : float
        J/mol, above 0 to 1,000,000; by default 83,144, a convention for drugs.

    Returns
    -------
    float
        °C.

    Raises
    ------
    ValueError
        If an input is out of range.

    References
    ----------
    USP 29-NF 24, chapter 1160 [read]; Haynes 1971, J. Pharm. Sci. 60:927–929 [memory].
    """
    kelvin = np.atleast_1d(_kelvin(temperature_c))
    shares = np.ones_like(kelvin) if weight is None else np.asarray(weight, dtype=np.float64)
    _check_energy(activation_energy)
    check_range("weight", shares, 0.0, np.inf)
    if shares.shape != kelvin.shape or not shares.sum() > 0.0:
        raise ValueError(f"weight has shape {shares.shape}; allowed: one a reading, not all 0.")
    # Rates against that of the warmest reading: exp of −10,000 K / T alone would lose digits.
    top = float(kelvin.max())
    relative = np.exp(activation_energy / GAS_CONSTANT.value * (1.0 / top - 1.0 / kelvin))
    return _mean_kinetic_c(float(shares @ relative / shares.sum()), top, activation_energy)


def _relative_rate(hours: FloatArray, temperature_c: FloatArray, energy: float) -> tuple[FloatArray, float]:
    check_history(hours, temperature_c)
    _check_energy(energy)
    kelvin = _kelvin(temperature_c)
    top = float(kelvin.max())
    rate: FloatArray = np.exp(energy / GAS_CONSTANT.value * (1.0 / top - 1.0 / kelvin))
    return rate, top


def _area_until(hours: FloatArray, rate: FloatArray, until: FloatArray) -> FloatArray:
    grid = np.union1d(hours, until)
    height = np.interp(grid, hours, rate)
    area = np.concatenate([[0.0], np.cumsum(np.diff(grid) * (height[:-1] + height[1:]) / 2.0)])
    reached: FloatArray = area[np.searchsorted(grid, until)]
    return reached


def logged_kinetic_temperature(
    hours: FloatArray,
    temperature_c: FloatArray,
    *,
    activation_energy: float = KINETIC_ACTIVATION_ENERGY.value,
) -> float:
    """Give the mean kinetic temperature of a log with unequal steps.

    Parameters
    ----------
    hours : FloatArray
        Shape (k,), each later than the one before, two or more.
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.
    activation_energy : float
        J/mol, above 0 to 1,000,000.

    Returns
    -------
    float
        °C.

    Raises
    ------
    ValueError
        If an input is out of range.

    References
    ----------
    Tong & Lock 2015, JSM Biopharmaceutical Section, 2065–2070 [read]: trapezoid on exp(−E/RT).
    """
    times, temperatures = np.asarray(hours, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    rate, top = _relative_rate(times, temperatures, activation_energy)
    area = float(_area_until(times, rate, times[-1:])[0])
    return _mean_kinetic_c(area / float(times[-1] - times[0]), top, activation_energy)


def worst_day_kinetic_temperature(
    hours: FloatArray,
    temperature_c: FloatArray,
    *,
    window_hours: float = HOURS_PER_DAY.value,
    activation_energy: float = KINETIC_ACTIVATION_ENERGY.value,
) -> float:
    """Give the mean kinetic temperature of the warmest 24 hours of a log.

    Parameters
    ----------
    hours, temperature_c : FloatArray
        Shape (k,), as in ``logged_kinetic_temperature``.
    window_hours : float
        Above 0; a shorter log is taken whole.
    activation_energy : float
        J/mol, above 0 to 1,000,000.

    Returns
    -------
    float
        °C.

    Raises
    ------
    ValueError
        If an input is out of range.

    Notes
    -----
    A mean over the whole trip hides a hot day. The warmest window begins or ends at a reading, or
    where the rates at its two ends are equal; all of these are compared.
    """
    check_positive("window_hours", window_hours)
    times, temperatures = np.asarray(hours, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    rate, top = _relative_rate(times, temperatures, activation_energy)
    last = float(times[-1]) - window_hours
    if last <= times[0]:
        return logged_kinetic_temperature(times, temperatures, activation_energy=activation_energy)
    starts = np.union1d(times, times - window_hours)
    starts = np.union1d(starts[(starts > times[0]) & (starts < last)], [times[0], last])
    gain = np.interp(starts + window_hours, times, rate) - np.interp(starts, times, rate)
    starts, _ = with_crossings(starts, gain, 0.0)
    parts = _area_until(times, rate, starts + window_hours) - _area_until(times, rate, starts)
    return _mean_kinetic_c(float(parts.max()) / window_hours, top, activation_energy)
