"""Intervals of a counted proportion, and how many grains they need."""

import numpy as np
from scipy import special, stats

from exchange.science.check import check_positive, check_range
from exchange.science.constants import REPLICATE_CORRELATION

MAXIMUM_COUNT = 10_000_000


def check_count(successes: int, total: int) -> None:
    """Refuse counts that are not ``successes`` of ``total``.

    Parameters
    ----------
    successes : int
        0 to ``total``.
    total : int
        1 or more.

    Raises
    ------
    ValueError
        Naming the count out of range.
    """
    for name, value in (("successes", successes), ("total", total)):
        if value != int(value):
            raise ValueError(f"{name} is {value:g}; allowed: whole numbers.")
    check_range("total", total, 1, MAXIMUM_COUNT)
    check_range("successes", successes, 0, total)


def _score(confidence: float) -> float:
    check_range("confidence", confidence, 0.5, 0.9999)
    return float(special.ndtri(0.5 + confidence / 2.0))


def wilson_interval(successes: int, total: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Give the score interval of a proportion.

    Parameters
    ----------
    successes, total : int
        0 to ``total``; 1 or more.
    confidence : float
        0.5 to 0.9999.

    Returns
    -------
    tuple of float
        Lower and upper end, 0–1.

    Raises
    ------
    ValueError
        If a count or ``confidence`` is out of range.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209–212 [memory].
    """
    check_count(successes, total)
    return score_interval(successes / total, total, confidence=confidence)


def score_interval(proportion: float, grains: float, *, confidence: float = 0.95) -> tuple[float, float]:
    """Give Wilson's interval of a proportion that rests on so many independent grains, whole or not.

    Parameters
    ----------
    proportion : float
        Counted share, 0–1.
    grains : float
        Above 0; of clumped grains what ``effective_count`` gives.
    confidence : float
        0.5 to 0.9999.

    Returns
    -------
    tuple of float
        Lower and upper end, 0–1.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    check_range("proportion", proportion, 0.0, 1.0)
    check_positive("grains", grains)
    z = _score(confidence)
    pull = z * z / grains
    centre = (proportion + pull / 2.0) / (1.0 + pull)
    half = z / (1.0 + pull) * np.sqrt(proportion * (1.0 - proportion) / grains + pull / (4.0 * grains))
    # At 0 and all the ends are 0 and 1 exactly; rounding may not push them past.
    low = 0.0 if proportion == 0.0 else centre - half
    high = 1.0 if proportion == 1.0 else centre + half
    return float(low), float(high)


def clopper_pearson_interval(successes: int, total: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Give the exact binomial interval of a proportion.

    Parameters
    ----------
    successes, total : int
        0 to ``total``; 1 or more.
    confidence : float
        0.5 to 0.9999.

    Returns
    -------
    tuple of float
        Lower and upper end, 0–1; never covers less than ``confidence``.

    Raises
    ------
    ValueError
        If a count or ``confidence`` is out of range.

    References
    ----------
    Clopper & Pearson 1934, Biometrika 26:404–413 [memory].
    """
    check_count(successes, total)
    check_range("confidence", confidence, 0.5, 0.9999)
    tail, failures = (1.0 - confidence) / 2.0, total - successes
    low = 0.0 if successes == 0 else float(stats.beta.ppf(tail, successes, failures + 1))
    high = 1.0 if failures == 0 else float(stats.beta.ppf(1.0 - tail, successes + 1, failures))
    return low, high


def beta_interval(
    successes: int, total: int, *, prior_alpha: float = 0.5, prior_beta: float = 0.5, confidence: float = 0.95
) -> tuple[float, float]:
    """Give the equal-tailed interval of a proportion under a beta prior.

    Parameters
    ----------
    successes, total : int
        0 to ``total``; 1 or more.
    prior_alpha, prior_beta : float
        Above 0; by default the prior of Jeffreys.
    confidence : float
        0.5 to 0.9999.

    Returns
    -------
    tuple of float
        Lower and upper end, 0–1.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    check_count(successes, total)
    check_positive("prior_alpha", prior_alpha)
    check_positive("prior_beta", prior_beta)
    check_range("confidence", confidence, 0.5, 0.9999)
    alpha, beta, tail = prior_alpha + successes, prior_beta + total - successes, (1.0 - confidence) / 2.0
    return float(stats.beta.ppf(tail, alpha, beta)), float(stats.beta.ppf(1.0 - tail, alpha, beta))


def beta_mean(successes: int, total: int, *, prior_alpha: float = 0.5, prior_beta: float = 0.5) -> float:
    """Give the mean of a proportion under a beta prior.

    Parameters
    ----------
    successes, total : int
        0 to ``total``; 1 or more.
    prior_alpha, prior_beta : float
        Above 0; by default the prior of Jeffreys.

    Returns
    -------
    float
        0–1.

    Raises
    ------
    ValueError
        If an input is out of range.
    """
    check_count(successes, total)
    check_positive("prior_alpha", prior_alpha)
    check_positive("prior_beta", prior_beta)
    return (prior_alpha + successes) / (prior_alpha + prior_beta + total)


def effective_count(total: int, replicate_size: float, correlation: float | None = None) -> float:
    """Give how many independent grains correlated counts are worth.

    Parameters
    ----------
    total : int
        Grains counted, 1 or more.
    replicate_size : float
        Grains in one replicate, 1 to ``total``.
    correlation : float, optional
        Of grains in one replicate, 0–1; by default 0.02 (judgement).

    Returns
    -------
    float
        Grains: total / (1 + (size − 1) · correlation).

    Raises
    ------
    ValueError
        If an input is out of range.

    References
    ----------
    Kish 1965, Survey Sampling, design effect [memory].
    """
    check_count(0, total)
    check_range("replicate_size", replicate_size, 1.0, total)
    share = REPLICATE_CORRELATION.value if correlation is None else correlation
    check_range("correlation", share, 0.0, 1.0)
    return total / (1.0 + (replicate_size - 1.0) * share)


def grains_for_half_width(proportion: float, half_width: float, *, confidence: float = 0.95) -> int:
    """Give the fewest independent grains whose score interval is as narrow as wanted.

    Parameters
    ----------
    proportion : float
        Expected germinating fraction, 0–1.
    half_width : float
        Wanted half of the interval's width, 0.005 to 0.5.
    confidence : float
        0.5 to 0.9999.

    Returns
    -------
    int
        Grains to count in all, 1 or more.

    Raises
    ------
    ValueError
        If an input is out of range.

    Notes
    -----
    The Wilson half-width falls with the count, so the least count is the positive root of
    w²(n + z²)² = z² (n p(1 − p) + z²/4) in n, rounded up.
    """
    check_range("proportion", proportion, 0.0, 1.0)
    check_range("half_width", half_width, 0.005, 0.5)
    square, width = _score(confidence) ** 2, half_width**2
    linear = square * (2.0 * width - proportion * (1.0 - proportion))
    constant = square**2 * (width - 0.25)
    root = (-linear + np.sqrt(linear**2 - 4.0 * width * constant)) / (2.0 * width)
    return max(1, int(np.ceil(root - 1e-9)))
