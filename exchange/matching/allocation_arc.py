"""Every dose that an offer could give to a wanted cross as one arc with a whole-numbered value."""

import hashlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from exchange.matching.allocation_problem import Edge, Problem, Rule
from exchange.science import constants
from exchange.science.arrays import BoolArray, IntegerArray

LOT_BITS = 24


@dataclass(frozen=True)
class Arcs:
    """One row for each dose: indices of its edge, offer, wanted cross and grower; its value and its lot.

    ``value`` is in millionths and at least 1. ``lot`` settles what is equal: it is below one unit of value,
    because values are settled before it is looked at.
    """

    edge: IntegerArray
    offer: IntegerArray
    wanted: IntegerArray
    grower: IntegerArray
    value: IntegerArray
    lot: IntegerArray

    def take(self, chosen: BoolArray | IntegerArray) -> "Arcs":
        """Only some of the arcs."""
        return Arcs(*(getattr(self, column.name)[chosen] for column in fields(self)))


@dataclass(frozen=True)
class Capacity:
    """Doses left of each offer, flowers left of each wanted cross, and growers who have a dose already."""

    doses: IntegerArray
    flowers: IntegerArray
    has_dose: BoolArray


def capacity_of(problem: Problem) -> Capacity:
    """What agreed doses leave, in the order of sorted keys."""
    agreed = problem.growers_with_agreed_dose()
    return Capacity(
        np.array([problem.doses_left(offer) for offer in sorted(problem.supplies)], dtype=np.int64),
        np.array([problem.flowers_left(wanted) for wanted in sorted(problem.wants)], dtype=np.int64),
        np.array([grower in agreed for grower in sorted(problem.growers)], dtype=np.bool_),
    )


def arcs_of(problem: Problem, rule: Rule, stay_bonus: float) -> Arcs:
    """All doses that could still be given, as arcs valued by a rule, in order of edges and doses.

    Doses already agreed are skipped: the next one of that pair is worth what comes after them.
    """
    offers, wanted, growers = (
        {key: index for index, key in enumerate(sorted(keys))}
        for keys in (problem.supplies, problem.wants, problem.growers)
    )
    weights, lots = _weights(problem, rule), _lots(problem)
    rows = [
        (
            index,
            offers[edge.offer],
            wanted[edge.wanted],
            growers[problem.grower_of(edge)],
            _units(edge, dose, weights[edge.wanted], problem, stay_bonus),
            lots[edge.pair][dose],
        )
        for index, edge in enumerate(problem.edges)
        for dose in range(problem.frozen.get(edge.pair, 0), _doses_with_chance(edge))
    ]
    return Arcs(*np.array(rows, dtype=np.int64).reshape(-1, len(fields(Arcs))).T)


def _doses_with_chance(edge: Edge) -> int:
    return sum(chance > 0.0 for chance in edge.chances)


def _units(edge: Edge, dose: int, weight: float, problem: Problem, stay_bonus: float) -> int:
    stays = dose < problem.proposed_before.get(edge.pair, 0)
    value = edge.chances[dose] * weight * (1.0 + stay_bonus * stays)
    return max(1, round(constants.ALLOCATION_UNITS.value * value))


def _weights(problem: Problem, rule: Rule) -> Mapping[str, float]:
    """What the chance of a dose is multiplied with, for each wanted cross that has an offer."""
    best = best_chances(problem)
    if rule == "most capsules":
        return dict.fromkeys(best, 1.0)
    total: defaultdict[str, float] = defaultdict(float)
    for wanted in best:
        total[problem.wants[wanted].grower] += problem.wants[wanted].worth
    return {
        key: want.worth / total[want.grower] / want.flowers / best[key]
        for key, want in problem.wants.items()
        if key in best
    }


def best_chances(problem: Problem) -> dict[str, float]:
    """The best chance that a dose of any offer has, for each wanted cross that has an offer."""
    best: dict[str, float] = {}
    for edge in problem.edges:
        best[edge.wanted] = max(best.get(edge.wanted, 0.0), edge.chances[0])
    return best


def _lots(problem: Problem) -> dict[tuple[str, str], list[int]]:
    """Lots of the doses of each edge, fixed by keys alone so that nothing elsewhere moves them.

    Within one wanted cross the larger lots go to the offers that come first; among wanted crosses they
    fall as they may, so that no grower is preferred for a key that happens to be small.
    """
    by_wanted: defaultdict[str, list[Edge]] = defaultdict(list)
    for edge in problem.edges:
        by_wanted[edge.wanted].append(edge)
    lots: dict[tuple[str, str], list[int]] = {}
    for edges in by_wanted.values():
        drawn = sorted(
            (_lot(edge, dose) for edge in edges for dose in range(len(edge.chances))), reverse=True
        )
        for edge in edges:
            lots[edge.pair], drawn = drawn[: len(edge.chances)], drawn[len(edge.chances) :]
    return lots


def _lot(edge: Edge, dose: int) -> int:
    text = "\x1f".join((edge.offer, edge.wanted, str(dose)))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8]) >> (64 - LOT_BITS)
