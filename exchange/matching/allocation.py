"""Who gets which dose: shared out at once, exactly, and the same whatever the order of the rows."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import get_args

import numpy as np

from exchange.matching.allocation_arc import Arcs, Capacity, arcs_of, capacity_of
from exchange.matching.allocation_flow import best_flow
from exchange.matching.allocation_problem import (
    Edge,
    GrowerLabels,
    Pair,
    Problem,
    Rule,
    Want,
    checked_problem,
)
from exchange.science import constants
from exchange.science.arrays import BoolArray
from exchange.science.check import check_choice

__all__ = ["Allocation", "Edge", "Given", "GrowerLabels", "Pair", "Rule", "Want", "allocate"]


@dataclass(frozen=True)
class Given:
    """Doses of one offer proposed for one wanted cross, and the capsules expected from them."""

    offer: str
    wanted: str
    grower: str
    doses: int
    expected_capsules: float

    @property
    def pair(self) -> Pair:
        """Keys of the offer and of the wanted cross."""
        return self.offer, self.wanted


@dataclass(frozen=True)
class Allocation:
    """What is proposed beside the doses already agreed, in order of wanted cross and offer.

    ``served`` are the growers who have a dose, agreed or proposed; ``left`` the doses of each offer that
    are neither.
    """

    problem: Problem = field(repr=False)
    rule: Rule
    given: tuple[Given, ...]
    served: frozenset[str]
    left: Mapping[str, int]

    @property
    def expected_capsules(self) -> float:
        """Capsules expected from all proposed doses together."""
        return sum((given.expected_capsules for given in self.given), 0.0)

    @property
    def doses(self) -> dict[Pair, int]:
        """Doses of each pair, agreed and proposed: the ``proposed_before`` of the next run."""
        counted = Counter(self.problem.frozen)
        counted.update({given.pair: given.doses for given in self.given})
        return dict(counted)

    def capsules_of(self, wanted: str) -> float:
        """Capsules expected from the doses proposed for one wanted cross."""
        return sum((each.expected_capsules for each in self.given if each.wanted == wanted), 0.0)


def allocate(
    edges: Sequence[Edge],
    supplies: Mapping[str, int],
    wants: Mapping[str, Want],
    growers: Mapping[str, GrowerLabels],
    *,
    rule: Rule = "one for each grower first",
    frozen: Mapping[Pair, int] | None = None,
    proposed_before: Mapping[Pair, int] | None = None,
) -> Allocation:
    """Share out the doses of all offers among the wanted crosses.

    By the default rule as many growers as possible have a dose; among all ways of doing that the one with
    the largest sum of worth × relative chance is taken. Relative is a dose's chance divided by the best
    chance that this wanted cross could have; the worths of one grower's crosses add up to 1, and the worth
    of a cross is spread over its flowers. "Most capsules" takes the largest sum of chances instead. What is
    still equal goes to the offer whose key comes first, then by a lot that only the keys decide.

    Parameters
    ----------
    edges : sequence of Edge
        Each pair of offer and wanted cross once; chances 0–1 of the 1st, 2nd, … dose, never rising.
    supplies : mapping of str to int
        Doses of each offer, agreed ones included and those kept back not.
    wants : mapping of str to Want
        Wanted crosses with their flowers, agreed ones included, at least 1.
    growers : mapping of str to GrowerLabels
    rule : Rule
    frozen : mapping of (offer, wanted cross) to int, optional
        Agreed doses: they stay, use up supply and flowers, and their growers count as served.
    proposed_before : mapping of (offer, wanted cross) to int, optional
        Doses of the earlier run, those since agreed included; they count a little more, so that a
        proposal stays unless a clearly better one is found.

    Returns
    -------
    Allocation

    Raises
    ------
    ValueError
        If a number is out of range, chances rise, a pair comes twice, or a name is not listed.

    Notes
    -----
    The program is a network, so the best solution is whole (Hoffman & Kruskal 1956, from memory). What the
    first part of the default rule guarantees exactly: if a grower ends without a dose, there is no way of
    serving them as well as everybody who is served. So nobody has a second dose that could serve them,
    neither by itself nor through a chain of exchanges in which all others keep one.
    """
    check_choice("rule", rule, get_args(Rule))
    problem = checked_problem(edges, supplies, wants, growers, frozen, proposed_before)
    return share_out(problem, rule)


def share_out(
    problem: Problem,
    rule: Rule,
    *,
    stay_bonus: float = constants.STAY_BONUS.value,
    growers_first: bool | None = None,
) -> Allocation:
    """The allocation of a checked problem; the defaults are those of the rule."""
    arcs, capacity = arcs_of(problem, rule, stay_bonus), capacity_of(problem)
    first = rule == "one for each grower first" if growers_first is None else growers_first
    return told(problem, rule, arcs, best_flow(arcs, capacity, growers_first=first), capacity)


def told(problem: Problem, rule: Rule, arcs: Arcs, chosen: BoolArray, capacity: Capacity) -> Allocation:
    """What chosen arcs mean, by the keys of the problem."""
    counts = np.bincount(arcs.edge[chosen], minlength=len(problem.edges))
    given = tuple(
        Given(
            edge.offer,
            edge.wanted,
            problem.grower_of(edge),
            int(doses),
            sum(edge.chances[(agreed := problem.frozen.get(edge.pair, 0)) : agreed + int(doses)]),
        )
        for edge, doses in zip(problem.edges, counts, strict=True)
        if doses
    )
    used = np.bincount(arcs.offer[chosen], minlength=capacity.doses.size)
    left = (capacity.doses - used).tolist()
    return Allocation(
        problem,
        rule,
        given,
        problem.growers_with_agreed_dose() | {each.grower for each in given},
        dict(zip(sorted(problem.supplies), left, strict=True)),
    )
