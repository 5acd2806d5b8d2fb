"""Curves fitted with scipy to the published means of stored apple pollen (Ćalić et al. 2021, table 2)."""

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from scipy import optimize

from exchange.science.arrays import FloatArray
from exchange.science.probit import probit_viability
from exchange.science.viability import fraction_left
from tests.published import published

MONTHS = np.arange(7.0)
Curve = Callable[[FloatArray], FloatArray]


@cache
def series() -> dict[tuple[str, int], FloatArray]:
    """Seven monthly means, per cent, of each (cultivar, temperature) that could be read."""
    found: dict[tuple[str, int], FloatArray] = {}
    for row in published("viability"):
        if row.quantity == "apple_mean":
            key = (row.inputs["cultivar"], row.inputs["temperature_c"])
            found.setdefault(key, np.full(7, np.nan))[row.inputs["month"]] = row.value
    return found


def fraction_at_rate(months: Any, rate: float, shape: float) -> FloatArray:
    """The Weibull curve of the project, from a rate instead of a half-life."""
    return fraction_left(months, np.log(2.0) ** (1.0 / shape) / rate, shape)


def rate_through_start(means: FloatArray) -> float:
    """Slope of the log-linear decline forced through the first mean, a month."""
    return float(-(MONTHS @ np.log(means / means[0])) / (MONTHS @ MONTHS))


def _fit(curve: Curve, start: list[float], means: FloatArray) -> tuple[FloatArray, float]:
    def misfit(place: FloatArray) -> FloatArray:
        return curve(place) - means

    result = optimize.least_squares(misfit, start, x_scale=np.abs(start), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return result.x, float(np.sqrt(np.mean(result.fun**2)))


@cache
def fits(cultivar: str, temperature_c: int) -> dict[str, float]:
    """Least-squares parameters and root mean square errors of three families, by name."""
    means = series()[cultivar, temperature_c]
    rate = rate_through_start(means)
    first, first_error = _fit(lambda p: p[0] * fraction_at_rate(MONTHS, p[1], 1.0), [means[0], rate], means)
    weibull, weibull_error = _fit(
        lambda p: p[0] * fraction_at_rate(MONTHS, p[1], p[2]), [means[0], rate, 0.85], means
    )
    probit, probit_error = _fit(lambda p: 100.0 * probit_viability(MONTHS, p[0], p[1]), [0.8, 3.0], means)
    return {
        "rate_through_start": rate,
        "half_life_months": float(np.log(2.0) / rate),
        "exponential_initial": first[0],
        "exponential_rate": first[1],
        "exponential_rmse": first_error,
        "weibull_initial": weibull[0],
        "weibull_rate": weibull[1],
        "weibull_shape": weibull[2],
        "weibull_rmse": weibull_error,
        "probit_intercept": probit[0],
        "probit_sd": probit[1],
        "probit_rmse": probit_error,
    }
