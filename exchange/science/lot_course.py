"""What a lot went through: stretches of time with a temperature, known, felt or assumed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import HEAT_LIMIT_C, HOURS_PER_DAY
from exchange.science.q10_node import q10_nodes
from exchange.science.temperature_history import check_history, hours_above
from exchange.science.thermal_age import logged_age, rate_factor


@dataclass(frozen=True)
class Spell:
    """One stretch of time, linear between its readings.

    Parameters
    ----------
    hours : FloatArray
        Shape (k,), hours since the anthers were cut, strictly rising; two or more.
    temperature_c : FloatArray
        Shape (k,), −90 to 60 °C.
    source : str
        What the temperature rests on: a store, a logger, a word, an assumption.
    """

    hours: FloatArray
    temperature_c: FloatArray
    source: str

    @property
    def begins(self) -> float:
        """Hours since cutting."""
        return float(self.hours[0])

    @property
    def ends(self) -> float:
        """Hours since cutting."""
        return float(self.hours[-1])

    @property
    def is_steady(self) -> bool:
        """Whether it is at one temperature, between two instants."""
        return len(self.hours) == 2 and bool(self.temperature_c[0] == self.temperature_c[1])


Course = tuple[Spell, ...]


def steady_spell(begins_hours: float, ends_hours: float, temperature_c: float, source: str) -> Spell:
    """Give a stretch at one temperature.

    Parameters
    ----------
    begins_hours, ends_hours : float
        Hours since cutting, the end later.
    temperature_c : float
        −90 to 60 °C.
    source : str
        As in ``Spell``.

    Returns
    -------
    Spell

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    spell = Spell(np.array([begins_hours, ends_hours]), np.full(2, float(temperature_c)), source)
    check_history(spell.hours, spell.temperature_c)
    return spell


def cut(spell: Spell, begins_hours: float, ends_hours: float) -> Spell | None:
    """Give the part of a stretch that lies between two instants.

    Parameters
    ----------
    spell : Spell
    begins_hours, ends_hours : float
        Hours since cutting.

    Returns
    -------
    Spell or None
        None if nothing of it does.
    """
    first, last = max(spell.begins, begins_hours), min(spell.ends, ends_hours)
    if not first < last:
        return None
    inside = spell.hours[(spell.hours > first) & (spell.hours < last)]
    hours = np.concatenate([[first], inside, [last]])
    return replace(spell, hours=hours, temperature_c=np.interp(hours, spell.hours, spell.temperature_c))


def laid_over(course: Iterable[Spell], over: Spell) -> Course:
    """Put a stretch that is better known in the place of what was assumed.

    Parameters
    ----------
    course : iterable of Spell
        In order of time, no two at once.
    over : Spell
        Only where the course has something does it count: no time before the cut anthers, none to come.

    Returns
    -------
    tuple of Spell
        In order of time.
    """
    parts: list[Spell | None] = []
    for spell in course:
        parts += [
            cut(spell, spell.begins, over.begins),
            cut(over, spell.begins, spell.ends),
            cut(spell, over.ends, spell.ends),
        ]
    return tuple(part for part in parts if part is not None)


def until(course: Iterable[Spell], hours: float) -> Course:
    """Give a course up to an instant, hours since cutting."""
    parts = (cut(spell, spell.begins, hours) for spell in course)
    return tuple(part for part in parts if part is not None)


def ages_at(course: Sequence[Spell], hours: FloatArray, *, credit_below_freezing: bool = False) -> FloatArray:
    """Give the thermal age of each draw at instants of a course.

    Parameters
    ----------
    course : sequence of Spell
        In order of time, without gaps.
    hours : FloatArray
        Shape (k,), hours since cutting, 0 or more; beyond the course an age stays what it was at its end.
    credit_below_freezing : bool
        As in ``rate_factor``.

    Returns
    -------
    FloatArray
        Shape (draws, k), equivalent days at 4 °C, aligned with ``prior_draws``.

    Raises
    ------
    ValueError
        If an instant is negative or not a number.

    Notes
    -----
    Each stretch is integrated exactly for the Q10 of each node and spread over the draws, see ``q10_node``.
    """
    return CourseAges(course, credit_below_freezing=credit_below_freezing).at(hours)


class CourseAges:
    """Ages on one course, for many instants one after the other; parameters as in ``ages_at``."""

    def __init__(self, course: Sequence[Spell], *, credit_below_freezing: bool = False) -> None:
        self.course, self.credit = course, credit_below_freezing
        self.nodes, self.spread = q10_nodes()
        self.whole = [_age(spell, self.nodes, credit_below_freezing) for spell in course]

    def at(self, hours: FloatArray) -> FloatArray:
        """Give the ages at instants, as ``ages_at`` does."""
        instants = np.atleast_1d(np.asarray(hours, dtype=np.float64))
        check_range("hours", instants, 0.0, np.inf)
        on_nodes = np.stack([self._on_nodes(float(instant)) for instant in instants], axis=1)
        ages: FloatArray = np.maximum(self.spread @ on_nodes, 0.0)
        return ages

    def _on_nodes(self, instant: float) -> FloatArray:
        total = np.zeros(self.nodes.size)
        for spell, whole in zip(self.course, self.whole, strict=True):
            if instant >= spell.ends:
                total += whole
            elif (part := cut(spell, spell.begins, instant)) is not None:
                total += _age(part, self.nodes, self.credit)
        return total


def _age(spell: Spell, q10: FloatArray, credit_below_freezing: bool) -> FloatArray:
    if spell.is_steady:
        rate = rate_factor(float(spell.temperature_c[0]), q10, credit_below_freezing=credit_below_freezing)
        return rate * (spell.ends - spell.begins) / HOURS_PER_DAY.value
    return logged_age(spell.hours, spell.temperature_c, q10, credit_below_freezing=credit_below_freezing)


def course_hours_above(course: Iterable[Spell], level_c: float = HEAT_LIMIT_C.value) -> float:
    """Give the hours a course spends above a level, −90 to 60 °C; by default that of heat."""
    return sum((hours_above(spell.hours, spell.temperature_c, level_c) for spell in course), 0.0)


def course_coldest_c(course: Iterable[Spell]) -> float:
    """Give the lowest temperature of a course, °C; infinite for an empty one."""
    return min((float(spell.temperature_c.min()) for spell in course), default=np.inf)
