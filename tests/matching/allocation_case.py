"""Invented markets for the tests of the allocation, and what an allocation is worth, reckoned anew."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

from exchange.matching.allocation import Allocation, Edge, GrowerLabels, Pair, Rule, Want, allocate

# Odd numerators: no value of the tests falls on half a millionth, where rounding could go either way.
CHANCES = tuple(odd / 101 for odd in (7, 11, 13, 17, 29, 61, 61, 61))
RULES: tuple[Rule, Rule] = ("one for each grower first", "most capsules")


@dataclass
class Case:
    """The input of one allocation."""

    edges: list[Edge]
    supplies: dict[str, int]
    wants: dict[str, Want]
    growers: dict[str, GrowerLabels]
    frozen: dict[Pair, int] = field(default_factory=dict)
    proposed_before: dict[Pair, int] = field(default_factory=dict)

    def allocate(self, rule: Rule = "one for each grower first") -> Allocation:
        """The allocation of this case."""
        arguments: dict[str, Any] = {"frozen": self.frozen, "proposed_before": self.proposed_before}
        return allocate(self.edges, self.supplies, self.wants, self.growers, rule=rule, **arguments)


def simple_case(
    chances: Mapping[Pair, tuple[float, ...]],
    supplies: dict[str, int],
    owners: dict[str, str],
    flowers: dict[str, int] | None = None,
) -> Case:
    """A case by hand: chances of each pair, doses of each offer, the grower of each wanted cross."""
    return Case(
        [Edge(offer, wanted, values) for (offer, wanted), values in chances.items()],
        supplies,
        {wanted: Want(grower, (flowers or {}).get(wanted, 1)) for wanted, grower in owners.items()},
        {grower: GrowerLabels("Here", False) for grower in owners.values()},
    )


def random_case(seed: int, offers: int, wants: int, growers: int, density: float = 0.4) -> Case:
    """A case with many equal chances, some agreed doses and some earlier proposals."""
    random = np.random.default_rng(seed)
    names = [f"grower {index}" for index in range(growers)]
    case = Case(
        [],
        {f"offer {index}": int(random.integers(0, 4)) for index in range(offers)},
        {
            f"cross {index}": Want(str(random.choice(names)), int(random.integers(1, 4)), float(worth))
            for index, worth in enumerate(random.integers(1, 4, wants))
        },
        {name: GrowerLabels(f"region {index % 3}", index % 2 == 0) for index, name in enumerate(names)},
    )
    for offer in case.supplies:
        for wanted in case.wants:
            if random.random() < density:
                falling = sorted(random.choice(CHANCES, int(random.integers(1, 4))), reverse=True)
                edge = Edge(offer, wanted, tuple(map(float, falling)), bool(random.random() < 0.5))
                case.edges.append(edge)
                remember(case, edge, float(random.random()))
    return case


def remember(case: Case, edge: Edge, luck: float) -> None:
    """Let one edge in eight have an agreed dose, and one in four an earlier proposal."""
    agreed = Counter(offer for offer, _ in case.frozen)
    if luck < 0.125 and agreed[edge.offer] < case.supplies[edge.offer]:
        case.frozen[edge.pair] = 1
    elif luck > 0.75:
        case.proposed_before[edge.pair] = 1


def chances_by_pair(case: Case) -> dict[Pair, list[Fraction]]:
    """Exact chances of the doses of each pair, zeros left out."""
    return {edge.pair: [Fraction(chance) for chance in edge.chances if chance > 0] for edge in case.edges}


def value(case: Case, doses: dict[Pair, int], rule: Rule) -> int:
    """Value of proposed doses in millionths, from the definition, in exact fractions."""
    chances = chances_by_pair(case)
    best: defaultdict[str, Fraction] = defaultdict(Fraction)
    for (_, wanted), values in chances.items():
        best[wanted] = max([best[wanted], *values])
    worths: defaultdict[str, Fraction] = defaultdict(Fraction)
    for wanted in best:
        worths[case.wants[wanted].grower] += Fraction(case.wants[wanted].worth)
    total = 0
    for (offer, wanted), count in doses.items():
        want, agreed = case.wants[wanted], case.frozen.get((offer, wanted), 0)
        share = Fraction(want.worth) / worths[want.grower] / want.flowers / best[wanted]
        for dose in range(agreed, agreed + count):
            each = chances[offer, wanted][dose] * (1 if rule == "most capsules" else share)
            stays = dose < case.proposed_before.get((offer, wanted), 0)
            total += max(1, round(10**6 * each * (Fraction(102, 100) if stays else 1)))
    return total


def served(case: Case, doses: dict[Pair, int]) -> set[str]:
    """Growers with a dose, agreed or proposed."""
    held = [wanted for (_, wanted), count in [*case.frozen.items(), *doses.items()] if count]
    return {case.wants[wanted].grower for wanted in held}


def proposed(allocation: Allocation) -> dict[Pair, int]:
    """Proposed doses of each pair."""
    return {given.pair: given.doses for given in allocation.given}


def every_allocation(case: Case) -> Iterator[dict[Pair, int]]:
    """All ways of giving doses that supplies and flowers allow, by plain enumeration."""
    supply, flowers = Counter(case.supplies), Counter({key: want.flowers for key, want in case.wants.items()})
    for (offer, wanted), agreed in case.frozen.items():
        supply[offer] -= agreed
        flowers[wanted] -= agreed
    pairs = [(pair, len(values) - case.frozen.get(pair, 0)) for pair, values in chances_by_pair(case).items()]

    def extend(index: int, chosen: dict[Pair, int]) -> Iterator[dict[Pair, int]]:
        if index == len(pairs):
            yield {pair: count for pair, count in chosen.items() if count}
            return
        pair, most = pairs[index]
        for count in range(max(0, min(most, supply[pair[0]], flowers[pair[1]])) + 1):
            supply[pair[0]] -= count
            flowers[pair[1]] -= count
            yield from extend(index + 1, {**chosen, pair: count})
            supply[pair[0]] += count
            flowers[pair[1]] += count

    return extend(0, {})
