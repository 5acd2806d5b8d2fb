"""Business days a parcel takes on a lane: a prior from the service, sharpened by parcels received."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, exp, log

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincinv, ndtr, ndtri

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_positive, check_range

MAX_BUSINESS_DAYS = 15
CELLS = MAX_BUSINESS_DAYS + 1
ROUNDING = 1e-12


@dataclass(frozen=True, eq=False)
class Transit:
    """Chances of delivery after 1 … 15 business days and of loss; together 1.

    Parameters
    ----------
    day_probability : FloatArray
        Shape (15,); the last one stands for 15 business days or more.
    lost_probability : float
        Chance that the parcel never arrives, 0 to 1.
    """

    day_probability: FloatArray
    lost_probability: float

    def __post_init__(self) -> None:
        if self.day_probability.shape != (MAX_BUSINESS_DAYS,):
            raise ValueError(f"day_probability has shape {self.day_probability.shape}; allowed: (15,).")
        check_range("day_probability", self.day_probability, 0.0, 1.0)
        check_range("lost_probability", self.lost_probability, 0.0, 1.0)
        check_range("day_probability + lost_probability", self._total(), 1.0 - 1e-9, 1.0 + 1e-9)

    def _total(self) -> float:
        return float(self.day_probability.sum()) + self.lost_probability


def shifted_gamma_cumulative(days: ArrayLike, minimum: float, shape: float, scale: float) -> FloatArray:
    """Chance that ``minimum`` plus a gamma-distributed delay is at most ``days``.

    Parameters
    ----------
    days : array_like
        Times, in the unit of ``minimum`` and ``scale``.
    minimum : float
        Least time, at least 0.
    shape, scale : float
        Of the gamma distribution, above 0.

    Returns
    -------
    FloatArray
        Chances, in the shape of ``days``.

    Raises
    ------
    ValueError
        If a parameter is out of its range.
    """
    check_range("minimum", minimum, 0.0, 1e6)
    check_positive("shape", shape)
    check_positive("scale", scale)
    delay = np.maximum(np.asarray(days, dtype=np.float64) - minimum, 0.0)
    return np.asarray(gammainc(shape, delay / scale), dtype=np.float64)


def shifted_gamma_quantile(probability: float, minimum: float, shape: float, scale: float) -> float:
    """Time within which a parcel arrives with the given probability, 0 to below 1 (shifted gamma)."""
    check_range("probability", probability, 0.0, 1.0 - 1e-12)
    check_range("minimum", minimum, 0.0, 1e6)
    check_positive("shape", shape)
    check_positive("scale", scale)
    return minimum + scale * float(gammaincinv(shape, probability))


def transit_prior_weights(promised_days: float, distance_km: float) -> FloatArray:
    """Dirichlet weights of a lane on which no parcel has been seen yet.

    Parameters
    ----------
    promised_days : float
        Business days the service promises, 0.5 to 15.
    distance_km : float
        Geodesic distance of the two ends, km, 0 to 20 100.

    Returns
    -------
    FloatArray
        Weights of 1 … 15 business days and, last, of loss, shape (16,); they sum to 6 parcels.

    Raises
    ------
    ValueError
        If a parameter is out of its range.

    Notes
    -----
    The time is half the promise plus a gamma delay of shape 2, scaled so that three parcels in
    four arrive within the promise plus one business day for each 10 000 km. What lies beyond 15
    days is in the cell of day 15. All of this is judgement; six parcels outweigh it.
    """
    check_range("promised_days", promised_days, 0.5, MAX_BUSINESS_DAYS)
    check_range("distance_km", distance_km, 0.0, 20_100.0)
    minimum = constants.TRANSIT_FASTEST_SHARE.value * promised_days
    shape = constants.TRANSIT_GAMMA_SHAPE.value
    on_time = promised_days + distance_km / constants.TRANSIT_KM_PER_EXTRA_DAY.value
    scale = (on_time - minimum) / float(gammaincinv(shape, constants.TRANSIT_ON_TIME_SHARE.value))
    cumulative = shifted_gamma_cumulative(np.arange(MAX_BUSINESS_DAYS), minimum, shape, scale)
    lost = constants.TRANSIT_LOST_SHARE.value
    shares = np.append(np.diff(cumulative, append=1.0) * (1.0 - lost), lost)
    return shares * constants.TRANSIT_PRIOR_PARCELS.value


def transit_predictive(
    prior_weights: FloatArray,
    delivered_counts: FloatArray,
    lost_count: int = 0,
    under_way_days: Sequence[int] = (),
) -> Transit:
    """Chances of the next parcel on a lane, from its prior and all parcels sent, those still under way too.

    Parameters
    ----------
    prior_weights : FloatArray
        Dirichlet weights, shape (16,), at least 0, not all 0; loss last.
    delivered_counts : FloatArray
        Parcels received after 1 … 15 business days, shape (15,); later ones count under 15.
    lost_count : int
        Parcels given up, at least 0.
    under_way_days : sequence of int
        For each parcel still under way, the whole business days it has not arrived in, at least 0.

    Returns
    -------
    Transit

    Raises
    ------
    ValueError
        If a shape is wrong or a number is out of its range.

    Notes
    -----
    A parcel under way adds its one count over the cells that remain for it, in proportion to their
    chances. The fixed point of that rule is a product over days of the chance to come through each
    day (Efron 1967, self-consistency of the Kaplan-Meier estimate), and it is also the mean of the
    posterior, the Dirichlet being neutral to the right; so no iteration is needed.
    """
    weights = np.asarray(prior_weights, dtype=np.float64)
    counts = np.asarray(delivered_counts, dtype=np.float64)
    _check_cells(weights, counts, lost_count, under_way_days)
    settled = weights + np.append(counts, lost_count)
    waiting = np.minimum(np.asarray(under_way_days, dtype=np.int64), MAX_BUSINESS_DAYS - 1)
    through = np.array([(waiting >= day).sum() for day in range(1, CELLS)])
    at_risk = np.cumsum(settled[::-1])[::-1][:-1] + through
    hazard = np.divide(settled[:-1], at_risk, out=np.zeros(MAX_BUSINESS_DAYS), where=at_risk > 0.0)
    surviving = np.append(1.0, np.cumprod(1.0 - hazard))
    return Transit(hazard * surviving[:-1], float(surviving[-1]))


def _check_cells(
    weights: FloatArray, counts: FloatArray, lost_count: int, under_way_days: Sequence[int]
) -> None:
    if weights.shape != (CELLS,):
        raise ValueError(f"prior_weights has shape {weights.shape}; allowed: ({CELLS},).")
    if counts.shape != (MAX_BUSINESS_DAYS,):
        raise ValueError(f"delivered_counts has shape {counts.shape}; allowed: ({MAX_BUSINESS_DAYS},).")
    check_range("prior_weights", weights, 0.0, 1e9)
    check_positive("prior_weights (sum)", float(weights.sum()))
    check_range("delivered_counts", counts, 0.0, 1e9)
    check_range("lost_count", lost_count, 0, 1e9)
    if len(under_way_days):
        check_range("under_way_days", under_way_days, 0, 10_000)


def arrival_quantile_days(transit: Transit, probability: float) -> int:
    """Business days within which the parcel arrives with the given probability, if it arrives.

    Parameters
    ----------
    transit : Transit
    probability : float
        0 to 1.

    Returns
    -------
    int
        Least whole number of business days that reaches the probability, 1 to 15.

    Raises
    ------
    ValueError
        If ``probability`` is out of its range or every parcel is lost.
    """
    check_range("probability", probability, 0.0, 1.0)
    check_range("lost_probability", transit.lost_probability, 0.0, 1.0 - 1e-9)
    cumulative = np.cumsum(transit.day_probability)
    reached = cumulative >= probability * cumulative[-1] - ROUNDING
    return int(np.argmax(reached)) + 1


def slower(transit: Transit, probability: float = constants.TRANSIT_SLOW_PROBABILITY.value) -> Transit:
    """Transit in which every parcel that arrives takes a high quantile of the time, loss unchanged."""
    certain = np.zeros(MAX_BUSINESS_DAYS)
    certain[arrival_quantile_days(transit, probability) - 1] = 1.0 - transit.lost_probability
    return Transit(certain, transit.lost_probability)


def parcels_needed(quantile: float, confidence: float) -> int:
    """Parcels of which the slowest is, with this confidence, at least a quantile of the transit time.

    Parameters
    ----------
    quantile, confidence : float
        Above 0, below 1.

    Returns
    -------
    int
        Least number of parcels.

    Raises
    ------
    ValueError
        If a parameter is out of its range.

    References
    ----------
    Wilks SS 1941, Ann Math Stat 12:91-96 (from memory).
    """
    check_range("quantile", quantile, 1e-9, 1.0 - 1e-9)
    check_range("confidence", confidence, 1e-9, 1.0 - 1e-9)
    return ceil(log(1.0 - confidence) / log(quantile) - ROUNDING)


def safe_quantile(times: FloatArray, probability: float) -> float:
    """Empirical quantile that is always a time seen, the next higher one: for deadlines.

    Parameters
    ----------
    times : FloatArray
        Times seen, shape (n,), n at least 1, at least 0.
    probability : float
        0 to 1.

    Returns
    -------
    float
        A value of ``times`` (numpy's method "higher").

    Raises
    ------
    ValueError
        If there are no times or a number is out of its range.
    """
    check_range("probability", probability, 0.0, 1.0)
    check_range("number of times", np.size(times), 1, 1e9)
    check_range("times", times, 0.0, 1e9)
    return float(np.quantile(times, probability, method="higher"))


@dataclass(frozen=True)
class LogNormalTime:
    """A transit time whose logarithm is normal: median, in any unit, and spread of the logarithm."""

    median: float
    sd_log: float

    def quantile(self, probability: float) -> float:
        """Time within which a parcel arrives with a probability above 0 and below 1."""
        check_range("probability", probability, 1e-12, 1.0 - 1e-12)
        return self.median * exp(self.sd_log * float(ndtri(probability)))

    def cumulative(self, time: float) -> float:
        """Chance that the parcel has arrived by a time above 0."""
        check_positive("time", time)
        return float(ndtr(log(time / self.median) / self.sd_log))

    @property
    def mean(self) -> float:
        """Mean time."""
        return self.median * exp(0.5 * self.sd_log**2)


def log_normal_time(median: float, upper: float, probability: float) -> LogNormalTime:
    """Log-normal time with the given median and the given upper quantile.

    Parameters
    ----------
    median, upper : float
        Times above 0, ``upper`` the larger one.
    probability : float
        Of ``upper``, above 0.5, below 1.

    Returns
    -------
    LogNormalTime

    Raises
    ------
    ValueError
        If a parameter is out of its range.
    """
    check_positive("median", median)
    check_range("probability", probability, 0.5 + 1e-9, 1.0 - 1e-12)
    check_positive("upper - median", upper - median)
    return LogNormalTime(median, log(upper / median) / float(ndtri(probability)))
