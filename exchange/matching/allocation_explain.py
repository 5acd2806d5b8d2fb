"""Why a wanted cross gets what it gets: what else there was, and what one more dose would change.

Explanations name other wanted crosses by key. Those are a breeder's secret: whoever words them for
another grower leaves the keys out.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import get_args

import numpy as np

from exchange.matching.allocation import Allocation, Given, share_out, told
from exchange.matching.allocation_arc import Arcs, Capacity, arcs_of, capacity_of
from exchange.matching.allocation_flow import best_flow, connected_parts
from exchange.matching.allocation_problem import Pair, Rule
from exchange.matching.reason import Reason
from exchange.science import constants
from exchange.science.arrays import BoolArray, IntegerArray

RESOLUTION = 1e-9


@dataclass(frozen=True)
class Passed:
    """A better offer that the cross does not get, its chance there, and the crosses its doses went to."""

    offer: str
    chance: float
    went_to: tuple[str, ...]


@dataclass(frozen=True)
class NextBest:
    """What a wanted cross would get without one of its offers, and what that would change for everybody."""

    without: str
    instead: tuple[Given, ...]
    expected_capsules: float
    growers_served_change: int
    all_capsules_change: float


@dataclass(frozen=True)
class OneMore:
    """What one more dose of an offer would add, and the wanted crosses that would get a dose more.

    By the default rule capsules may fall when a grower more is served.
    """

    offer: str
    growers_served: int
    expected_capsules: float
    goes_to: tuple[str, ...]


@dataclass(frozen=True)
class Explanation:
    """One wanted cross: what it gets and why; by the other rule it would have ``capsules_by_other_rule``."""

    wanted: str
    given: tuple[Given, ...]
    reason: Reason
    passed: tuple[Passed, ...]
    next_best: tuple[NextBest, ...]
    one_more: tuple[OneMore, ...]
    expected_capsules: float
    capsules_by_other_rule: float


def other_rule(rule: Rule) -> Rule:
    """The rule that is not this one."""
    first, second = get_args(Rule)
    chosen: Rule = second if rule == first else first
    return chosen


@dataclass(frozen=True)
class Explainer:
    """Explains the wanted crosses of one allocation; what several explanations need is solved once."""

    allocation: Allocation

    def explanation(self, wanted: str) -> Explanation:
        """Why this wanted cross gets what it gets.

        Raises
        ------
        KeyError
            If there is no such wanted cross.
        """
        edges = [edge for edge in self.allocation.problem.edges if edge.wanted == wanted]
        given = tuple(each for each in self.allocation.given if each.wanted == wanted)
        return Explanation(
            wanted=wanted,
            given=given,
            reason=self._reason(wanted),
            passed=self._passed(wanted),
            next_best=tuple(self._next_best(each) for each in given),
            one_more=tuple(self.one_more(edge.offer) for edge in edges),
            expected_capsules=self.allocation.capsules_of(wanted),
            capsules_by_other_rule=self.by_other_rule.capsules_of(wanted),
        )

    def one_more(self, offer: str) -> OneMore:
        """What one more dose of an offer would add.

        Raises
        ------
        KeyError
            If there is no such offer.
        """
        if offer not in self._one_more:
            self._one_more[offer] = self._reckoned_one_more(offer)
        return self._one_more[offer]

    @cached_property
    def _one_more(self) -> dict[str, OneMore]:
        return {}

    def _reckoned_one_more(self, offer: str) -> OneMore:
        now = self.allocation
        if now.left[offer] > 0:
            return OneMore(offer, 0, 0.0, ())
        index = sorted(now.problem.supplies).index(offer)
        doses = self._capacity.doses.copy()
        doses[index] += 1
        then = self._solved_again(self._arcs.offer == index, None, replace(self._capacity, doses=doses))
        before, after = _doses_by_wanted(now), _doses_by_wanted(then)
        return OneMore(
            offer,
            len(then.served) - len(now.served),
            then.expected_capsules - now.expected_capsules,
            tuple(wanted for wanted in sorted(after) if after[wanted] > before.get(wanted, 0)),
        )

    def without(self, pair: Pair) -> Allocation:
        """The allocation as it would be if this offer and this wanted cross did not suit each other.

        Worths and relative chances stay what they are, so that the two can be compared.

        Raises
        ------
        ValueError
            If the two are no edge.
        """
        removed = self._arcs.edge == [edge.pair for edge in self.allocation.problem.edges].index(pair)
        return self._solved_again(removed, removed, self._capacity)

    @cached_property
    def by_other_rule(self) -> Allocation:
        """The same doses shared out by the other rule, as if nothing had been proposed before."""
        return share_out(self.allocation.problem, other_rule(self.allocation.rule), stay_bonus=0.0)

    @cached_property
    def _without_stay_bonus(self) -> Allocation:
        return share_out(self.allocation.problem, self.allocation.rule, stay_bonus=0.0)

    @cached_property
    def _by_worth_alone(self) -> Allocation:
        return share_out(self.allocation.problem, self.allocation.rule, growers_first=False)

    @cached_property
    def _arcs(self) -> Arcs:
        return arcs_of(self.allocation.problem, self.allocation.rule, constants.STAY_BONUS.value)

    @cached_property
    def _capacity(self) -> Capacity:
        return capacity_of(self.allocation.problem)

    @cached_property
    def _parts(self) -> list[IntegerArray]:
        return list(connected_parts(self._arcs))

    @cached_property
    def _chosen(self) -> BoolArray:
        return self._solve(np.arange(self._arcs.value.size), self._capacity)

    def _solve(self, some: IntegerArray, capacity: Capacity) -> BoolArray:
        first = self.allocation.rule == "one for each grower first"
        return best_flow(self._arcs.take(some), capacity, growers_first=first)

    def _solved_again(self, touched: BoolArray, removed: BoolArray | None, capacity: Capacity) -> Allocation:
        """The allocation with the parts that hold touched arcs solved again, without removed arcs."""
        chosen = self._chosen.copy()
        for part in self._parts:
            if touched[part].any():
                kept = part if removed is None else part[~removed[part]]
                chosen[part] = False
                chosen[kept] = self._solve(kept, capacity)
        return told(self.allocation.problem, self.allocation.rule, self._arcs, chosen, capacity)

    def _next_best(self, given: Given) -> NextBest:
        then = self.without(given.pair)
        return NextBest(
            given.offer,
            tuple(each for each in then.given if each.wanted == given.wanted),
            then.capsules_of(given.wanted),
            len(then.served) - len(self.allocation.served),
            then.expected_capsules - self.allocation.expected_capsules,
        )

    def _reason(self, wanted: str) -> Reason:
        problem, chances = self.allocation.problem, self._chances_ahead(wanted)
        flowers = problem.flowers_left(wanted)
        best = sum(sorted((chance for _, chance in chances), reverse=True)[:flowers])
        kept = any(
            each.wanted == wanted and each.pair in problem.proposed_before for each in self.allocation.given
        )
        # The first that holds is told; what comes later may cost another solution.
        questions: tuple[tuple[str, Callable[[], bool]], ...] = (
            ("allocation_no_flower_left", lambda: flowers == 0),
            ("allocation_no_offer", lambda: not chances),
            ("allocation_best", lambda: self.allocation.capsules_of(wanted) >= best - RESOLUTION),
            ("allocation_none_left", lambda: not any(problem.doses_left(offer) for offer, _ in chances)),
            ("allocation_stays", lambda: kept and self._more_by(self._without_stay_bonus, wanted)),
            ("allocation_others_stay", lambda: self._more_by(self._without_stay_bonus, wanted)),
            ("allocation_growers_without_first", lambda: self._more_by(self._by_worth_alone, wanted)),
        )
        code = next((code for code, holds in questions if holds()), "allocation_more_elsewhere")
        doses = _doses_by_wanted(self.allocation).get(wanted, 0)
        return Reason(
            code, {"doses": doses, "flowers": flowers, "offers": len({offer for offer, _ in chances})}
        )

    def _more_by(self, other: Allocation, wanted: str) -> bool:
        return other.capsules_of(wanted) > self.allocation.capsules_of(wanted) + RESOLUTION

    def _chances_ahead(self, wanted: str) -> list[tuple[str, float]]:
        """Offer and chance of every dose that this cross could still get."""
        problem = self.allocation.problem
        return [
            (edge.offer, chance)
            for edge in problem.edges
            if edge.wanted == wanted
            for chance in edge.chances[problem.frozen.get(edge.pair, 0) :]
            if chance > 0.0
        ]

    def _passed(self, wanted: str) -> tuple[Passed, ...]:
        """Offers with a better dose than the least given; while a flower is free, all with a dose."""
        problem, doses = self.allocation.problem, self.allocation.doses
        least = self._least_given(wanted)
        found = []
        for edge in problem.edges:
            ahead = edge.chances[doses.get(edge.pair, 0) :]
            if edge.wanted == wanted and ahead and ahead[0] > least:
                went_to = tuple(
                    each.wanted
                    for each in self.allocation.given
                    if each.offer == edge.offer and each.wanted != wanted
                )
                found.append(Passed(edge.offer, ahead[0], went_to))
        return tuple(sorted(found, key=lambda passed: (-passed.chance, passed.offer)))

    def _least_given(self, wanted: str) -> float:
        """Least chance of the doses given to a cross, 0 while it has a flower without one."""
        problem, doses = self.allocation.problem, self.allocation.doses
        given = [each for each in self.allocation.given if each.wanted == wanted]
        if not given or sum(each.doses for each in given) < problem.flowers_left(wanted):
            return 0.0
        pairs = {each.pair for each in given}
        return min(edge.chances[doses[edge.pair] - 1] for edge in problem.edges if edge.pair in pairs)


def _doses_by_wanted(allocation: Allocation) -> dict[str, int]:
    counted: dict[str, int] = {}
    for given in allocation.given:
        counted[given.wanted] = counted.get(given.wanted, 0) + given.doses
    return counted
