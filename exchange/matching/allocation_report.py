"""How an allocation falls out for regions, newcomers and wide crosses, what its rule costs, and who loses."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from exchange.matching.allocation import Allocation, share_out
from exchange.matching.allocation_explain import other_rule
from exchange.matching.allocation_problem import Edge, Problem, Rule

RESOLUTION = 1e-9
Heading = Literal["region", "season", "cross"]


@dataclass(frozen=True)
class ReportRow:
    """One group of growers, or of wanted crosses; agreed and proposed doses together.

    ``growers_asking`` want something, ``growers_with_offer`` could use some offer, ``growers_served`` have
    a dose. ``possible_capsules`` would be expected with pollen enough for everybody.
    """

    heading: Heading
    group: str
    growers_asking: int
    growers_with_offer: int
    growers_served: int
    doses: int
    expected_capsules: float
    capsules_by_other_rule: float
    possible_capsules: float

    @property
    def lost_capsules(self) -> float:
        """Capsules that scarcity and the rule together cost this group."""
        return max(0.0, self.possible_capsules - self.expected_capsules)


@dataclass(frozen=True)
class Loss:
    """A grower from whom fewer capsules are expected than by the other rule."""

    grower: str
    doses: int
    doses_by_other_rule: int
    expected_capsules: float
    capsules_by_other_rule: float
    served: bool


@dataclass(frozen=True)
class PriceOfRule:
    """What an allocation costs against the one with most capsules, and what it gains in growers served."""

    growers_served: int
    growers_served_most_capsules: int
    expected_capsules: float
    most_capsules: float

    @property
    def lost_capsules(self) -> float:
        """Capsules given up, 0 or more: values are compared in millionths, which rounding may turn round."""
        return max(0.0, self.most_capsules - self.expected_capsules)

    @property
    def lost_share(self) -> float:
        """Share of the most capsules that is given up, 0–1."""
        return self.lost_capsules / self.most_capsules if self.most_capsules > 0.0 else 0.0


@dataclass(frozen=True)
class AllocationReport:
    """Rows by region, by first or later season and by within or between groups; losers, worst first."""

    rule: Rule
    rows: tuple[ReportRow, ...]
    losers: tuple[Loss, ...]
    price: PriceOfRule


def allocation_report(allocation: Allocation) -> AllocationReport:
    """How an allocation falls out, beside what the other rule would have given from scratch."""
    other = share_out(allocation.problem, other_rule(allocation.rule), stay_bonus=0.0)
    return AllocationReport(
        allocation.rule,
        tuple(_rows(allocation, other)),
        tuple(_losers(allocation, other)),
        price_of_rule(allocation),
    )


def price_of_rule(allocation: Allocation) -> PriceOfRule:
    """What an allocation costs against the one with most capsules from scratch; agreed doses stay in both."""
    most = share_out(allocation.problem, "most capsules", stay_bonus=0.0)
    return PriceOfRule(
        len(allocation.served), len(most.served), allocation.expected_capsules, most.expected_capsules
    )


@dataclass(frozen=True)
class _Tally:
    """Doses and capsules of each wanted cross, agreed ones too."""

    doses: Counter[str]
    capsules: dict[str, float]


def _tally(allocation: Allocation) -> _Tally:
    doses: Counter[str] = Counter()
    for (_, wanted), count in allocation.doses.items():
        doses[wanted] += count
    capsules: defaultdict[str, float] = defaultdict(float)
    for edge in allocation.problem.edges:
        capsules[edge.wanted] += sum(edge.chances[: allocation.doses.get(edge.pair, 0)])
    return _Tally(doses, dict(capsules))


def _rows(allocation: Allocation, other: Allocation) -> Iterable[ReportRow]:
    problem = allocation.problem
    kinds = _kinds(problem)
    headings: tuple[tuple[Heading, Callable[[str], str | None]], ...] = (
        ("region", lambda wanted: problem.growers[problem.wants[wanted].grower].region),
        ("season", lambda wanted: _season(problem, wanted)),
        ("cross", kinds.get),
    )
    now, then, possible = _tally(allocation), _tally(other), _possible_capsules(problem)
    for heading, group_of in headings:
        members: defaultdict[str, list[str]] = defaultdict(list)
        for wanted in sorted(problem.wants):
            group = group_of(wanted)
            if group is not None:
                members[group].append(wanted)
        for group, wants in sorted(members.items()):
            yield ReportRow(
                heading,
                group,
                len(_growers(problem, wants)),
                len(_growers(problem, [wanted for wanted in wants if wanted in kinds])),
                len(_growers(problem, [wanted for wanted in wants if now.doses[wanted]])),
                sum(now.doses[wanted] for wanted in wants),
                sum(now.capsules.get(wanted, 0.0) for wanted in wants),
                sum(then.capsules.get(wanted, 0.0) for wanted in wants),
                sum(possible.get(wanted, 0.0) for wanted in wants),
            )


def _season(problem: Problem, wanted: str) -> str:
    return "first season" if problem.growers[problem.wants[wanted].grower].first_season else "later season"


def _growers(problem: Problem, wants: Iterable[str]) -> set[str]:
    return {problem.wants[wanted].grower for wanted in wants}


def _kinds(problem: Problem) -> dict[str, str]:
    """Within or between groups, by the best offer of each wanted cross that has one."""
    best: dict[str, Edge] = {}
    for edge in problem.edges:
        if edge.wanted not in best or edge.chances[0] > best[edge.wanted].chances[0]:
            best[edge.wanted] = edge
    return {
        wanted: "between groups" if edge.between_groups else "within groups" for wanted, edge in best.items()
    }


def _possible_capsules(problem: Problem) -> dict[str, float]:
    """Capsules expected if every wanted cross had the best doses for its flowers, agreed ones as they are."""
    chances: defaultdict[str, list[float]] = defaultdict(list)
    agreed: defaultdict[str, float] = defaultdict(float)
    for edge in problem.edges:
        count = problem.frozen.get(edge.pair, 0)
        agreed[edge.wanted] += sum(edge.chances[:count])
        chances[edge.wanted] += edge.chances[count:]
    return {
        wanted: agreed[wanted] + sum(sorted(ahead, reverse=True)[: problem.flowers_left(wanted)])
        for wanted, ahead in chances.items()
    }


def _losers(allocation: Allocation, other: Allocation) -> list[Loss]:
    now, then = _by_grower(allocation), _by_grower(other)
    found = [
        Loss(
            grower,
            now.doses[grower],
            then.doses[grower],
            now.capsules[grower],
            then.capsules[grower],
            grower in allocation.served,
        )
        for grower in allocation.problem.growers
        if then.capsules[grower] > now.capsules[grower] + RESOLUTION
    ]
    return sorted(found, key=lambda loss: (loss.expected_capsules - loss.capsules_by_other_rule, loss.grower))


def _by_grower(allocation: Allocation) -> _Tally:
    tally, problem = _tally(allocation), allocation.problem
    doses: Counter[str] = Counter()
    capsules = dict.fromkeys(problem.growers, 0.0)
    for wanted, want in problem.wants.items():
        doses[want.grower] += tally.doses[wanted]
        capsules[want.grower] += tally.capsules.get(wanted, 0.0)
    return _Tally(doses, capsules)
