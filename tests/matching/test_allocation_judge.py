"""The allocation against plain enumeration, against another solver, and its program's vertices."""

import itertools

import numpy as np
import pytest
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow  # type: ignore[import-untyped]
from scipy.optimize import linprog

from exchange.matching.allocation import Pair, Rule
from exchange.matching.allocation_arc import Arcs, Capacity, arcs_of, capacity_of
from exchange.matching.allocation_flow import (
    Face,
    Program,
    best_flow,
    connected_parts,
    lexicographic_optimum,
    program,
    prove,
    whole_flow,
)
from exchange.science import constants
from exchange.science.arrays import BoolArray
from tests.matching.allocation_case import (
    RULES,
    Case,
    every_allocation,
    proposed,
    random_case,
    served,
    value,
)

LARGEST_COST = 2**62


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", range(40))
def test_is_the_best_of_all_ways(seed: int, rule: Rule) -> None:
    case = small_case(seed)
    result = proposed(case.allocate(rule))

    def key(doses: dict[Pair, int]) -> tuple[int, int]:
        return len(served(case, doses)) if rule == RULES[0] else 0, value(case, doses, rule)

    ways = list(every_allocation(case))
    assert result in ways
    best = max(map(key, ways))
    assert key(result) == best
    lots = {str(sorted(way.items())): lot(case, way, rule) for way in ways if key(way) == best}
    assert lots[str(sorted(result.items()))] == max(lots.values())


def small_case(seed: int) -> Case:
    case = random_case(seed, offers=4, wants=4, growers=3, density=0.5)
    case.edges = case.edges[:7]
    kept = {edge.pair for edge in case.edges}
    case.frozen = {pair: doses for pair, doses in case.frozen.items() if pair in kept}
    return case


def lot(case: Case, doses: dict[Pair, int], rule: Rule) -> int:
    """Sum of lots of an allocation, earlier doses of a pair first."""
    problem = case.allocate(rule).problem
    arcs = arcs_of(problem, rule, constants.STAY_BONUS.value)
    counted = dict.fromkeys(range(len(problem.edges)), 0)
    total = 0
    for edge, number in zip(arcs.edge.tolist(), arcs.lot.tolist(), strict=True):
        if counted[edge] < doses.get(problem.edges[edge].pair, 0):
            counted[edge] += 1
            total += number
    return total


@pytest.mark.parametrize(("rule", "instances"), [(RULES[0], 200), (RULES[1], 60)])
def test_is_that_of_an_independent_flow_solver(rule: Rule, instances: int) -> None:
    for seed in range(instances):
        case = random_case(1000 + seed, offers=4 + seed % 7, wants=5 + seed % 8, growers=3 + seed % 5)
        arcs, capacity = network(case, rule)
        ours = best_flow(arcs, capacity, growers_first=rule == RULES[0])
        assert ours.tolist() == judged_flow(arcs, capacity, rule == RULES[0]).tolist(), f"seed {seed}"
        assert arcs.value[ours].sum() == value(case, proposed(case.allocate(rule)), rule), f"seed {seed}"


def network(case: Case, rule: Rule) -> tuple[Arcs, Capacity]:
    problem = case.allocate(rule).problem
    return arcs_of(problem, rule, constants.STAY_BONUS.value), capacity_of(problem)


def judged_flow(arcs: Arcs, capacity: Capacity, growers_first: bool) -> BoolArray:
    """The flow of least cost with all three aims in one whole number for each arc."""
    flow = SimpleMinCostFlow()
    offers, wants, growers = capacity.doses.size, capacity.flowers.size, capacity.has_dose.size
    source, sink = offers + wants + growers, offers + wants + growers + 1
    step = int(arcs.lot.sum()) + 1
    bonus = int(arcs.value.sum()) * step + step
    assert bonus * (sink + 1) * (growers + 1) < LARGEST_COST
    for arc in range(arcs.value.size):
        cost = -(int(arcs.value[arc]) * step + int(arcs.lot[arc]))
        flow.add_arc_with_capacity_and_unit_cost(
            int(arcs.offer[arc]), offers + int(arcs.wanted[arc]), 1, cost
        )
    for offer, doses in enumerate(capacity.doses.tolist()):
        flow.add_arc_with_capacity_and_unit_cost(source, offer, doses, 0)
    for wanted, grower in sorted(set(zip(arcs.wanted.tolist(), arcs.grower.tolist(), strict=True))):
        most = int(capacity.flowers[wanted])
        flow.add_arc_with_capacity_and_unit_cost(offers + wanted, offers + wants + grower, most, 0)
    total = int(capacity.doses.sum())
    for grower, has_dose in enumerate(capacity.has_dose.tolist()):
        reward = -bonus if growers_first and not has_dose else 0
        flow.add_arc_with_capacity_and_unit_cost(offers + wants + grower, sink, 1, reward)
        flow.add_arc_with_capacity_and_unit_cost(offers + wants + grower, sink, total, 0)
    flow.add_arc_with_capacity_and_unit_cost(source, sink, total, 0)
    flow.set_node_supply(source, total)
    flow.set_node_supply(sink, -total)
    assert flow.solve() == flow.OPTIMAL
    return np.array([flow.flow(arc) == 1 for arc in range(arcs.value.size)], dtype=np.bool_)


@pytest.mark.parametrize("seed", range(20))
def test_every_vertex_is_whole(seed: int) -> None:
    arcs, capacity = network(random_case(seed, offers=9, wants=12, growers=6), RULES[0])
    whole = program(arcs, capacity, growers_first=True)
    random = np.random.default_rng(seed)
    for _ in range(5):
        cost = random.normal(size=whole.rows.shape[1])
        found = linprog(cost, A_ub=whole.rows.toarray(), b_ub=whole.limits, bounds=(0, 1), method="highs-ds")
        assert found.x is not None
        assert np.abs(found.x - np.rint(found.x)).max() < 1e-9


def test_the_rows_are_totally_unimodular() -> None:
    case = random_case(4, offers=3, wants=3, growers=2, density=0.9)
    whole = program(*network(case, RULES[0]), growers_first=True)
    dense = whole.rows.toarray()
    for size in (1, 2, 3, 4):
        for rows in itertools.combinations(range(min(7, dense.shape[0])), size):
            columns = np.array(list(itertools.combinations(range(dense.shape[1]), size)))
            blocks = dense[np.array(rows)][:, columns].transpose(1, 0, 2)
            assert set(np.rint(np.linalg.det(blocks)).astype(int)) <= {-1, 0, 1}


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", range(10))
def test_parts_solved_apart_are_the_whole(seed: int, rule: Rule) -> None:
    arcs, capacity = network(random_case(seed, offers=14, wants=14, growers=9, density=0.08), rule)
    first = rule == RULES[0]
    parts = list(connected_parts(arcs))
    assert len(parts) > 1
    assert sorted(np.concatenate(parts).tolist()) == list(range(arcs.value.size))
    apart = best_flow(arcs, capacity, growers_first=first)
    assert apart.tolist() == whole_flow(arcs, capacity, growers_first=first).tolist()


def proof_of(case: Case) -> tuple[Program, Face]:
    whole = program(*network(case, "most capsules"), growers_first=False)
    count = whole.rows.shape[1]
    nothing = np.zeros(count, dtype=np.int64)
    return whole, Face(nothing, np.ones(count, dtype=np.int64), np.zeros(whole.limits.size, dtype=np.bool_))


def test_an_answer_that_is_not_best_is_not_believed() -> None:
    whole, face = proof_of(random_case(3, offers=5, wants=6, growers=3))
    best = lexicographic_optimum(Program(whole.rows, whole.limits, whole.objectives[:1]))
    no_price = np.zeros(whole.limits.size, dtype=np.int64)
    for wrong in (face.least, face.most, best):
        with pytest.raises(ArithmeticError, match="could not be proved best"):
            prove(whole, face, wrong, no_price, whole.objectives[0])
