"""What is to be shared out: doses of offers, flowers of wanted crosses, and who asks for them."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np

from exchange.science.check import check_positive, check_range

Rule = Literal["one for each grower first", "most capsules"]
Pair = tuple[str, str]
ROUNDING = 1e-9


@dataclass(frozen=True)
class Edge:
    """An offer that would do for a wanted cross.

    ``chances`` are those of a capsule from the first, second, … dose of this offer on this cross, never
    rising. ``between_groups`` says that the parents belong to different groups.
    """

    offer: str
    wanted: str
    chances: tuple[float, ...]
    between_groups: bool = False

    @property
    def pair(self) -> Pair:
        """Keys of the offer and of the wanted cross."""
        return self.offer, self.wanted


@dataclass(frozen=True)
class Want:
    """A wanted cross: whose it is, how many flowers it has, and what it counts among the grower's own."""

    grower: str
    flowers: int
    worth: float = 1.0


@dataclass(frozen=True)
class GrowerLabels:
    """What the report sorts growers by."""

    region: str
    first_season: bool


@dataclass(frozen=True)
class Problem:
    """A checked problem; edges in order of wanted cross and offer, those without any chance left out."""

    edges: tuple[Edge, ...] = field(repr=False)
    supplies: Mapping[str, int] = field(repr=False)
    wants: Mapping[str, Want] = field(repr=False)
    growers: Mapping[str, GrowerLabels] = field(repr=False)
    frozen: Mapping[Pair, int] = field(repr=False)
    proposed_before: Mapping[Pair, int] = field(repr=False)

    def grower_of(self, edge: Edge) -> str:
        """The grower of the edge's wanted cross."""
        return self.wants[edge.wanted].grower

    def doses_left(self, offer: str) -> int:
        """Doses of an offer that are not agreed; an agreement stands even if the offer has shrunk since."""
        agreed = sum(doses for pair, doses in self.frozen.items() if pair[0] == offer)
        return max(0, self.supplies[offer] - agreed)

    def flowers_left(self, wanted: str) -> int:
        """Flowers of a wanted cross without an agreed dose."""
        agreed = sum(doses for pair, doses in self.frozen.items() if pair[1] == wanted)
        return max(0, self.wants[wanted].flowers - agreed)

    def growers_with_agreed_dose(self) -> frozenset[str]:
        """Growers who have a dose already, whatever is proposed now."""
        agreed = (wanted for (_, wanted), doses in self.frozen.items() if doses > 0)
        return frozenset(self.wants[wanted].grower for wanted in agreed if wanted in self.wants)


def checked_problem(
    edges: Sequence[Edge],
    supplies: Mapping[str, int],
    wants: Mapping[str, Want],
    growers: Mapping[str, GrowerLabels],
    frozen: Mapping[Pair, int] | None = None,
    proposed_before: Mapping[Pair, int] | None = None,
) -> Problem:
    """Check and order what is to be shared out; the order in which rows came is forgotten.

    Raises
    ------
    ValueError
        If a number is out of range, chances rise from dose to dose, an edge comes twice, or an edge or a
        wanted cross names something that is not there.
    """
    agreed, proposed = dict(frozen or {}), dict(proposed_before or {})
    for name, counts in (("supplies", supplies), ("frozen", agreed), ("proposed_before", proposed)):
        _check_counts(name, counts.values())
    _check_counts("flowers", [want.flowers for want in wants.values()], 1)
    check_positive("worth", [want.worth for want in wants.values()])
    _check_names([want.grower for want in wants.values()], growers, "grower")
    _check_names([edge.offer for edge in edges], supplies, "offer")
    _check_names([edge.wanted for edge in edges], wants, "wanted cross")
    _check_edges(edges)
    useful = sorted((edge for edge in edges if edge.chances[0] > 0.0), key=lambda edge: edge.pair[::-1])
    return Problem(tuple(useful), dict(supplies), dict(wants), dict(growers), agreed, proposed)


def _check_counts(name: str, counts: Collection[int], least: int = 0) -> None:
    check_range(name, list(counts), least, np.iinfo(np.int32).max)
    broken = [count for count in counts if count != int(count)]
    if broken:
        raise ValueError(f"{name} is {broken[0]:g}; allowed: whole numbers from {least}.")


def _check_names(named: Sequence[str], known: Collection[str], what: str) -> None:
    strange = sorted(set(named) - set(known))
    if strange:
        raise ValueError(f"{what} is {strange[0]!r}; allowed: only what is listed.")


def _check_edges(edges: Sequence[Edge]) -> None:
    for edge in edges:
        if not edge.chances:
            raise ValueError(f"chances of {edge.pair} are empty; allowed: one or more.")
        check_range("chances", edge.chances, 0.0, 1.0)
        if any(later > earlier + ROUNDING for earlier, later in pairwise(edge.chances)):
            raise ValueError(f"chances of {edge.pair} are {edge.chances}; allowed: never rising.")
    twice = [pair for pair, times in Counter(edge.pair for edge in edges).items() if times > 1]
    if twice:
        raise ValueError(f"edge is {min(twice)} more than once; allowed: once.")
