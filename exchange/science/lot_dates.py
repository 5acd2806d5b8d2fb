"""When a lot is best before and worth trying until, on the course it took and the store it lies in."""

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import optimize

from exchange.science.arrays import FloatArray
from exchange.science.constants import (
    BEST_BEFORE_EFFECT,
    HOURS_PER_DAY,
    LONGEST_OUTLOOK_DAYS,
    LOW_QUANTILE,
    WORTH_TRYING_EFFECT,
)
from exchange.science.live_effect import age_at_effect
from exchange.science.lot_course import CourseAges, Spell
from exchange.science.thermal_age import rate_factor
from exchange.science.viability import ViabilityDraws
from exchange.science.weighted import weighted_quantile

PRECISION_HOURS = 1.0
MIDDLE = 0.5
LEAST_RATE = 1e-12
LEAST_AGE_DAYS = 1e-300
LIMIT_HOURS = LONGEST_OUTLOOK_DAYS.value * HOURS_PER_DAY.value


@dataclass(frozen=True)
class LotDates:
    """Hours since the anthers were cut; infinite where a date lies beyond twenty years.

    Attributes
    ----------
    best_before, best_before_median : float
        When the 10 % quantile and the median of the live effect fall below one half.
    worth_trying_until : float
        When the expected live effect falls below the least that is worth a flower.
    """

    best_before: float
    best_before_median: float
    worth_trying_until: float


@dataclass(frozen=True)
class Outlook:
    """A lot up to now and the temperature it goes on at.

    Parameters
    ----------
    course : sequence of Spell
        From cutting to ``now_hours``.
    now_hours : float
        Hours since cutting to which the course is known or planned, 0 or more.
    ahead_c : float
        Temperature of the store it lies in, −90 to 60 °C.
    credit_below_freezing : bool
        As in ``rate_factor``.
    """

    course: Sequence[Spell]
    now_hours: float
    ahead_c: float
    credit_below_freezing: bool = False

    @cached_property
    def past(self) -> CourseAges:
        """Ages on the course."""
        return CourseAges(self.course, credit_below_freezing=self.credit_below_freezing)

    def pace(self, draws: ViabilityDraws) -> FloatArray:
        """Equivalent days at 4 °C an hour ahead, of each draw, shape (n,)."""
        rate = rate_factor(self.ahead_c, draws.q10, credit_below_freezing=self.credit_below_freezing)
        return rate / HOURS_PER_DAY.value

    def ages(self, draws: ViabilityDraws, hours: FloatArray) -> FloatArray:
        """Give the thermal age of each draw at instants, past or to come.

        Parameters
        ----------
        draws : ViabilityDraws
            n draws.
        hours : FloatArray
            Shape (k,), hours since cutting, 0 or more.

        Returns
        -------
        FloatArray
            Shape (n, k), equivalent days at 4 °C.
        """
        instants = np.atleast_1d(np.asarray(hours, dtype=np.float64))
        past = np.minimum(instants, self.now_hours)
        known = self.past.at(past)
        ahead = instants - past
        return known + self.pace(draws)[:, None] * ahead if ahead.any() else known


def lot_dates(
    outlook: Outlook,
    draws: ViabilityDraws,
    rate: FloatArray,
    *,
    least_effect: float = WORTH_TRYING_EFFECT.value,
) -> LotDates:
    """Give the dates of a lot.

    Parameters
    ----------
    outlook : Outlook
    draws : ViabilityDraws
        n draws, after the lot's tests.
    rate : FloatArray
        λ of the same draws, shape (n,), 0 or more.
    least_effect : float
        Above 0 to 1: the grower's own wish, or 0.1 (judgement).

    Returns
    -------
    LotDates
        To the hour; a date that has passed is where it lay on the course.

    Notes
    -----
    The live effect falls in every draw, so its 10 % quantile is below one half from the 10 % quantile of
    the hours at which each draw's own is: exact, no search. Only where that lies on the course, and for
    the mean, which no single draw gives, is an hour searched for. Each draw ages with its own Q10.
    """
    ahead = _Ahead(outlook, draws, np.asarray(rate, dtype=np.float64))
    first, middle = ahead.half_gone(LOW_QUANTILE.value), ahead.half_gone(MIDDLE)
    return LotDates(first, middle, ahead.effect_gone(least_effect))


class _Ahead:
    """An outlook with its ages now and its pace ahead, each reckoned once."""

    def __init__(self, outlook: Outlook, draws: ViabilityDraws, rate: FloatArray) -> None:
        self.outlook, self.draws = outlook, draws
        self.now = outlook.now_hours
        self.known = outlook.past.at(np.array([self.now]))[:, 0]
        self.pace = outlook.pace(draws)
        self.half = age_at_effect(draws, rate, BEST_BEFORE_EFFECT.value)
        # The expected effect is asked for at many instants: what stays the same is reckoned once. A rate
        # that is no more than this is as good as none, and leaves the ratio below defined.
        self.rate = np.maximum(rate, LEAST_RATE)
        self.share = draws.weight / draws.weight.sum() / np.expm1(-self.rate)
        self.log_half_life = np.log(draws.half_life_days)

    def ages(self, hours: float) -> FloatArray:
        if hours < self.now:
            return self.outlook.past.at(np.array([hours]))[:, 0]
        return self.known + self.pace * (hours - self.now)

    def spent(self, hours: float) -> float:
        return float(self.draws.weight[self.ages(hours) >= self.half].sum())

    def effect(self, hours: float) -> float:
        """The weighted mean of ``live_effect`` of ``remaining_fraction``."""
        log_age = np.log(np.maximum(self.ages(hours), LEAST_AGE_DAYS))
        left = np.exp2(-np.exp(self.draws.shape * (log_age - self.log_half_life)))
        return float(self.share @ np.expm1(-self.rate * left))

    def half_gone(self, share: float) -> float:
        """When so much of the weight has lost half of its effect."""
        found = self._half_gone_after(self.now, self.known, self.pace, share)
        if found < self.now:
            return self._half_gone_by_now(share)
        return found if found <= LIMIT_HOURS else float(np.inf)

    def _half_gone_after(self, hours: float, ages: FloatArray, pace: FloatArray, share: float) -> float:
        reached = (self.half - ages) / pace
        return hours + float(weighted_quantile(reached, self.draws.weight, share))

    def _half_gone_by_now(self, share: float) -> float:
        course = self.outlook.course
        place = bisect_left(course, share, lo=1, key=lambda spell: self.spent(spell.begins)) - 1
        spell = course[place]
        if not spell.is_steady:
            return _passed_hour(lambda hours: self.spent(hours) >= share, spell.begins, spell.ends)
        credit = self.outlook.credit_below_freezing
        pace = rate_factor(float(spell.temperature_c[0]), self.draws.q10, credit_below_freezing=credit)
        ages = self.ages(spell.begins)
        return self._half_gone_after(spell.begins, ages, pace / HOURS_PER_DAY.value, share)

    def effect_gone(self, least: float) -> float:
        """When the expected effect falls below the least."""
        if self.effect(0.0) < least:
            return 0.0
        if self.effect(self.now) < least:
            return self._effect_gone_between(0.0, self.now, least)
        low, step = self.now, max(self.now, HOURS_PER_DAY.value)
        while self.effect(low + step) >= least:
            low, step = low + step, 2.0 * step
            if low >= LIMIT_HOURS:
                return float(np.inf)
        return self._effect_gone_between(low, low + step, least)

    def _effect_gone_between(self, low: float, high: float, least: float) -> float:
        def excess(log_hours: float) -> float:
            return self.effect(float(np.expm1(log_hours))) - least

        precision = PRECISION_HOURS / 4.0 / (1.0 + high)
        return float(np.expm1(optimize.brentq(excess, np.log1p(low), np.log1p(high), xtol=precision)))


def _passed_hour(passed: Callable[[float], bool], low: float, high: float) -> float:
    """The first hour at which something has happened that, once it has, stays so."""
    while high - low > PRECISION_HOURS:
        middle = (low + high) / 2.0
        low, high = (low, middle) if passed(middle) else (middle, high)
    return high
