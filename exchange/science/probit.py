"""The probit curve of deaths in time, fitted to counts by maximum likelihood."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range

MAXIMUM_STEPS = 100
ROUNDING = 1e-10
EDGE = 1e-15


class NotIdentifiedError(ValueError):
    """The counts leave the curve open: all dead, all alive, or one age."""


@dataclass(frozen=True)
class ProbitFit:
    """A fitted line: probit of the living fraction = ``intercept`` + ``slope`` · age.

    Parameters
    ----------
    intercept : float
        Probit at age 0 (K_i of the seed viability equation).
    slope : float
        Probits a day; negative when the lot dies.
    covariance : FloatArray
        Shape (2, 2), of intercept and slope.
    deviance : float
        Residual deviance, on (ages − 2) degrees of freedom.
    """

    intercept: float
    slope: float
    covariance: FloatArray
    deviance: float

    @property
    def intercept_error(self) -> float:
        """Standard error of the intercept, probits."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def slope_error(self) -> float:
        """Standard error of the slope, probits a day."""
        return float(np.sqrt(self.covariance[1, 1]))

    @property
    def sd_days(self) -> float:
        """Days to lose one probit (σ); infinite when the lot does not die."""
        return -1.0 / self.slope if self.slope < 0.0 else float("inf")

    @property
    def half_days(self) -> float:
        """Age at which half the grains live (P50), days."""
        return -self.intercept / self.slope

    @property
    def half_days_error(self) -> float:
        """Standard error of ``half_days`` by the delta method, days."""
        gradient = np.array([-1.0 / self.slope, self.intercept / self.slope**2])
        return float(np.sqrt(gradient @ self.covariance @ gradient))


def probit_viability(age_days: ArrayLike, intercept: float, sd_days: float) -> FloatArray:
    """Give the living fraction at an age by the seed viability equation.

    Parameters
    ----------
    age_days : array_like
        Days, 0 or more.
    intercept : float
        K_i, probit of the living fraction at age 0, −8 to 8.
    sd_days : float
        σ, days to lose one probit, above 0.

    Returns
    -------
    FloatArray
        Shape of ``age_days``, 0–1: Φ(K_i − age/σ).

    Raises
    ------
    ValueError
        If an input is out of range.

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13–30 [abstract]; a sensitivity here, never mixed with the
    Weibull curve.
    """
    check_range("age_days", age_days, 0.0, np.inf)
    check_range("intercept", intercept, -8.0, 8.0)
    check_positive("sd_days", sd_days)
    living: FloatArray = special.ndtr(intercept - np.asarray(age_days, dtype=np.float64) / sd_days)
    return living


def age_at_probit_fraction(fraction: float, intercept: float, sd_days: float) -> float:
    """Give the age at which a fraction lives; inverse of ``probit_viability``.

    Parameters
    ----------
    fraction : float
        0–1, ends excluded in effect (infinite age).
    intercept : float
        K_i, −8 to 8.
    sd_days : float
        σ, days, above 0.

    Returns
    -------
    float
        Days; negative when the lot began below ``fraction``.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    check_range("fraction", fraction, 0.0, 1.0)
    check_range("intercept", intercept, -8.0, 8.0)
    check_positive("sd_days", sd_days)
    return float(sd_days * (intercept - special.ndtri(fraction)))


def _deviance(living: FloatArray, counted: FloatArray, fitted: FloatArray) -> float:
    expected = counted * fitted
    dead, expected_dead = counted - living, counted - expected
    return 2.0 * float(
        (special.xlogy(living, living / expected) + special.xlogy(dead, dead / expected_dead)).sum()
    )


def fit_probit(age_days: FloatArray, living: FloatArray, counted: FloatArray) -> ProbitFit:
    """Fit the probit line to counts by maximum likelihood.

    Parameters
    ----------
    age_days : FloatArray
        Shape (k,), days (or any dose), finite; two different ages or more.
    living : FloatArray
        Shape (k,), grains living, 0 to ``counted``.
    counted : FloatArray
        Shape (k,), grains counted, above 0.

    Returns
    -------
    ProbitFit
        Line, covariance and deviance.

    Raises
    ------
    ValueError
        If shapes differ or a count is out of range.
    NotIdentifiedError
        If the counts leave the line open.

    Notes
    -----
    Fisher scoring: Finney 1971, Probit Analysis, 3rd ed. [memory].
    """
    dose, hits, totals = (np.asarray(column, dtype=np.float64) for column in (age_days, living, counted))
    if dose.ndim != 1 or not dose.shape == hits.shape == totals.shape:
        raise ValueError(f"counted has shape {totals.shape}; allowed: one for each of {dose.shape} ages.")
    check_range("age_days", dose, -np.inf, np.inf)
    check_positive("counted", totals)
    wrong = ~((hits >= 0.0) & (hits <= totals))
    if wrong.any():
        raise ValueError(f"living is {hits[wrong][0]:g}; allowed: 0 to {totals[wrong][0]:g}.")
    if len(np.unique(dose)) < 2:
        raise NotIdentifiedError("age_days has one value; allowed: two different ages or more.")
    # Scoring in centred and scaled doses keeps the two coefficients from trading off in rounding.
    centre, spread = float(dose.mean()), float(dose.std())
    design = np.column_stack([np.ones_like(dose), (dose - centre) / spread])
    line = np.array([float(special.ndtri((hits.sum() + 0.5) / (totals.sum() + 1.0))), 0.0])
    for _ in range(MAXIMUM_STEPS):
        score = design @ line
        fitted = np.clip(special.ndtr(score), EDGE, 1.0 - EDGE)
        density = np.exp(-(score**2) / 2.0) / np.sqrt(2.0 * np.pi)
        weight = totals * density**2 / (fitted * (1.0 - fitted))
        information = design.T @ (weight[:, None] * design)
        gradient = design.T @ ((hits - totals * fitted) * density / (fitted * (1.0 - fitted)))
        if np.linalg.cond(information) > 1e12:
            break
        step = np.linalg.solve(information, gradient)
        line = line + step
        if np.abs(step).max() < ROUNDING:
            change = np.array([[1.0, -centre / spread], [0.0, 1.0 / spread]])
            intercept, slope = change @ line
            covariance = change @ np.linalg.inv(information) @ change.T
            return ProbitFit(float(intercept), float(slope), covariance, _deviance(hits, totals, fitted))
    raise NotIdentifiedError("living leaves the curve open; allowed: counts neither all dead nor all alive.")
