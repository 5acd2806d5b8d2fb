"""What age costs: the chance of set that old pollen keeps, against the same pollen fresh."""

from functools import cache

import numpy as np
from scipy import optimize, special

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import BEST_BEFORE_EFFECT, LIVE_EFFECT_RATE, WORTH_TRYING_EFFECT
from exchange.science.draws import uniform_column
from exchange.science.thermal_age import rate_factor
from exchange.science.viability import (
    ViabilityDraws,
    age_at_fraction,
    log_normal_quantile,
    remaining_fraction,
)
from exchange.science.weighted import weighted_mean, weighted_quantile

EARLY = 0.1
MIDDLE = 0.5


@cache
def live_effect_rates() -> FloatArray:
    """Draw the rate λ of the live effect.

    Returns
    -------
    FloatArray
        Shape (draws,), above 0, read-only. Large λ: few live grains are enough.

    Notes
    -----
    Judgement: germination is not seed set; cherimoya pollen fell from 57.1 % to 10–14 % germination
    with no loss of yield (Lora et al. 2006, Sci. Hortic., abstract).
    """
    rates = log_normal_quantile(LIVE_EFFECT_RATE, uniform_column("live_effect_rate"))
    rates.flags.writeable = False
    return rates


def live_effect(remaining: FloatArray, rate: FloatArray) -> FloatArray:
    """Give the chance of set kept when a share of the live pollen is left, against fresh pollen.

    Parameters
    ----------
    remaining : FloatArray
        v/v0 of the same draws, shape (n, k), or (n,) or anything that broadcasts, 0–1.
    rate : FloatArray
        λ, shape (n,), 0 or more; 0 is proportionality.

    Returns
    -------
    FloatArray
        Shape of ``remaining``, 0–1: (1 − e^(−λx)) / (1 − e^(−λ)).

    Raises
    ------
    ValueError
        If ``remaining`` is outside 0–1 or ``rate`` is negative.

    Notes
    -----
    Judgement, no source: germination is not seed set. Absolute germination never enters; priors of
    compatibility were measured with the same poor pollen.
    """
    check_range("remaining", remaining, 0.0, 1.0)
    check_range("rate", rate, 0.0, np.inf)
    share = np.asarray(remaining, dtype=np.float64)
    strength = np.asarray(rate, dtype=np.float64)
    strength = strength[:, None] if strength.ndim == 1 and share.ndim == 2 else strength
    # exprel(y) = (e^y − 1)/y stays exact as the rate goes to 0, where the printed ratio is 0/0.
    effect: FloatArray = share * special.exprel(-strength * share) / special.exprel(-strength)
    return np.minimum(effect, 1.0)


def age_at_effect(draws: ViabilityDraws, rate: FloatArray, effect: float) -> FloatArray:
    """Give the age at which the live effect of each draw has fallen to a level.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    rate : FloatArray
        λ of the same draws, shape (n,), 0 or more.
    effect : float
        0 to 1.

    Returns
    -------
    FloatArray
        Shape (n,), equivalent days at 4 °C after cutting.
    """
    lost = -effect * np.expm1(-rate)
    share = np.divide(-np.log1p(-lost), rate, out=np.full_like(rate, effect), where=rate > 0.0)
    return age_at_fraction(np.clip(share, 0.0, 1.0), draws.half_life_days, draws.shape)


def best_before_days(draws: ViabilityDraws, rate: FloatArray) -> tuple[float, float]:
    """Give the age at which the live effect may have fallen to one half.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    rate : FloatArray
        λ of the same draws, shape (n,), 0 or more.

    Returns
    -------
    tuple of float
        Equivalent days at 4 °C after cutting: when the 10 % quantile of the live effect falls below
        one half (best before), and when its median does.

    Raises
    ------
    ValueError
        If a rate is negative or shapes differ.

    Notes
    -----
    The live effect falls in every draw, so the age at which its quantile reaches one half is the
    quantile of the ages at which each draw does: exact, no search. The half is a judgement.
    """
    check_range("rate", rate, 0.0, np.inf)
    ages = age_at_effect(draws, np.asarray(rate, dtype=np.float64), BEST_BEFORE_EFFECT.value)
    return (
        float(weighted_quantile(ages, draws.weight, EARLY)),
        float(weighted_quantile(ages, draws.weight, MIDDLE)),
    )


def days_left(
    draws: ViabilityDraws, rate: FloatArray, thermal_age_days: FloatArray, temperature_c: float
) -> tuple[float, float]:
    """Give the days from now, at one store temperature, until best before.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    rate : FloatArray
        λ of the same draws, shape (n,), 0 or more.
    thermal_age_days : FloatArray
        Age each draw has now, shape (n,), equivalent days at 4 °C, 0 or more.
    temperature_c : float
        Temperature of the store, −90 to 60 °C.

    Returns
    -------
    tuple of float
        Days from now until best before and until its median date; negative when it has passed.

    Raises
    ------
    ValueError
        If an input is out of range or shapes differ.

    Notes
    -----
    Each draw ages with its own Q10, so the age used and the rate in the store belong together; the
    quantile is taken over days, last.
    """
    check_range("rate", rate, 0.0, np.inf)
    check_range("thermal_age_days", thermal_age_days, 0.0, np.inf)
    ages = age_at_effect(draws, np.asarray(rate, dtype=np.float64), BEST_BEFORE_EFFECT.value)
    days = (ages - np.asarray(thermal_age_days)) / rate_factor(temperature_c, draws.q10)
    return (
        float(weighted_quantile(days, draws.weight, EARLY)),
        float(weighted_quantile(days, draws.weight, MIDDLE)),
    )


def worth_trying_until_days(
    draws: ViabilityDraws, rate: FloatArray, *, least_effect: float = WORTH_TRYING_EFFECT.value
) -> float:
    """Give the age at which the expected live effect falls below the least worth a flower.

    Parameters
    ----------
    draws : ViabilityDraws
        n draws.
    rate : FloatArray
        λ of the same draws, shape (n,), 0 or more.
    least_effect : float
        0.0001 to 1; by default 0.1 (judgement), or the grower's own wish.

    Returns
    -------
    float
        Equivalent days at 4 °C after cutting.

    Raises
    ------
    ValueError
        If an input is out of range or shapes differ.
    """
    check_range("least_effect", least_effect, 1e-4, 1.0)

    def excess(log_days: float) -> float:
        left = remaining_fraction(draws, np.exp([log_days]))[:, 0]
        return float(weighted_mean(live_effect(left, rate), draws.weight)) - least_effect

    if least_effect == 1.0:
        return 0.0
    low, high = -300.0, 10.0
    while excess(high) > 0.0:
        high += 10.0
    return float(np.exp(optimize.brentq(excess, low, high, xtol=1e-12)))
