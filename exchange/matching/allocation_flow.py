"""The best flow of doses, exactly: one linear program after the other, each proved in whole numbers."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from exchange.matching.allocation_arc import Arcs, Capacity
from exchange.science.arrays import BoolArray, IntegerArray


@dataclass(frozen=True)
class Program:
    """Maximise each of ``objectives`` in turn over 0–1 vectors x with rows @ x ≤ limits; all whole numbers.

    The first columns are arcs; one for each grower who may yet be served follows.
    """

    rows: csr_array
    limits: IntegerArray
    objectives: tuple[IntegerArray, ...]


@dataclass(frozen=True)
class Face:
    """What earlier objectives leave open: least and most of each variable, and rows that must be full."""

    least: IntegerArray
    most: IntegerArray
    full: BoolArray


def best_flow(arcs: Arcs, capacity: Capacity, *, growers_first: bool) -> BoolArray:
    """Which doses are given, each connected part of the network for itself; array (arcs,).

    Most growers served first, if ``growers_first``; then the largest sum of values; then of lots.
    """
    given = np.zeros(arcs.value.size, dtype=np.bool_)
    for part in connected_parts(arcs):
        some = arcs.take(part)
        given[part] = _enough_for_all(some, capacity) or whole_flow(
            some, capacity, growers_first=growers_first
        )
    return given


def connected_parts(arcs: Arcs) -> Iterator[IntegerArray]:
    """Indices of the arcs of each part of the network: parts share no offer and no grower."""
    if not arcs.value.size:
        return
    offers = int(arcs.offer.max()) + 1
    nodes = offers + int(arcs.grower.max()) + 1
    links = coo_array((np.ones(arcs.offer.size), (arcs.offer, offers + arcs.grower)), shape=(nodes, nodes))
    _, label = connected_components(links, directed=False)
    part = label[arcs.offer]
    order = np.argsort(part, kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(part[order])) + 1)


def _enough_for_all(arcs: Arcs, capacity: Capacity) -> bool:
    doses = np.bincount(arcs.offer, minlength=capacity.doses.size)
    flowers = np.bincount(arcs.wanted, minlength=capacity.flowers.size)
    return bool((doses <= capacity.doses).all() and (flowers <= capacity.flowers).all())


def whole_flow(arcs: Arcs, capacity: Capacity, *, growers_first: bool) -> BoolArray:
    """Which doses are given, all arcs in one program; array (arcs,)."""
    best = lexicographic_optimum(program(arcs, capacity, growers_first=growers_first))
    return np.asarray(best[: arcs.value.size] == 1, dtype=np.bool_)


def program(arcs: Arcs, capacity: Capacity, *, growers_first: bool) -> Program:
    """The program of some arcs.

    Its rows are the doses of each offer, the flowers of each wanted cross, and "counts as served only if a
    dose comes": the incidence of a network, so every vertex is whole.
    """
    offers, offer_row = np.unique(arcs.offer, return_inverse=True)
    wanted, wanted_row = np.unique(arcs.wanted, return_inverse=True)
    may_be_served = ~capacity.has_dose[arcs.grower] & growers_first
    growers, grower_row = np.unique(arcs.grower[may_be_served], return_inverse=True)
    arc, served = np.arange(arcs.value.size), np.arange(growers.size)
    blocks = (
        (offer_row, arc, 1),
        (offers.size + wanted_row, arc, 1),
        (offers.size + wanted.size + grower_row, arc[may_be_served], -1),
        (offers.size + wanted.size + served, arc.size + served, 1),
    )
    row, column = (np.concatenate([block[axis] for block in blocks]) for axis in (0, 1))
    sign = np.concatenate([np.full(block[0].size, block[2]) for block in blocks])
    none = np.zeros(growers.size, dtype=np.int64)
    counted = np.concatenate([np.zeros_like(arcs.value), np.ones_like(none)])
    return Program(
        csr_array(
            (sign, (row, column)),
            shape=(offers.size + wanted.size + growers.size, arc.size + growers.size),
        ),
        np.concatenate([capacity.doses[offers], capacity.flowers[wanted], none]),
        ((counted,) if growers.size else ())
        + (np.concatenate([arcs.value, none]), np.concatenate([arcs.lot, none])),
    )


def lexicographic_optimum(whole: Program) -> IntegerArray:
    """The 0–1 vector that is largest in the first objective, among those in the next, and so on.

    Each later objective is maximised over the face on which the earlier ones are best, found from prices
    and reduced costs: no large weights are needed and what is left is still a network.

    Returns
    -------
    array (columns,) of int

    Raises
    ------
    ArithmeticError
        If the solver fails or its answer cannot be proved best in whole numbers.
    """
    count = whole.rows.shape[1]
    best = np.zeros(count, dtype=np.int64)
    face = Face(best, np.ones(count, dtype=np.int64), np.zeros(whole.limits.size, dtype=np.bool_))
    for objective in whole.objectives:
        best, price = _vertex(whole, objective, face)
        reduced = objective - whole.rows.T @ price
        prove(whole, face, best, price, reduced)
        face = Face(
            np.where(reduced != 0, best, face.least),
            np.where(reduced != 0, best, face.most),
            face.full | (price != 0),
        )
    return best


def _vertex(whole: Program, objective: IntegerArray, face: Face) -> tuple[IntegerArray, IntegerArray]:
    """The solver's vertex and the prices of the rows, both rounded to whole numbers."""
    free, full = ~face.full, face.full
    found = linprog(  # type: ignore[call-overload]  # takes sparse rows, its stubs do not
        -objective,
        A_ub=whole.rows[free],
        b_ub=whole.limits[free],
        A_eq=whole.rows[full],
        b_eq=whole.limits[full],
        bounds=np.column_stack([face.least, face.most]),
        method="highs-ds",
    )
    if found.status != 0:
        raise ArithmeticError(f"The allocation was not solved: {found.message}")
    price = np.zeros(whole.limits.size)
    price[free], price[full] = -found.ineqlin.marginals, -found.eqlin.marginals
    return np.rint(found.x).astype(np.int64), np.rint(price).astype(np.int64)


def prove(whole: Program, face: Face, best: IntegerArray, price: IntegerArray, reduced: IntegerArray) -> None:
    """Complementary slackness in whole numbers: then ``best`` is best on the face, whoever found it.

    Raises
    ------
    ArithmeticError
        If it does not hold.
    """
    slack = whole.limits - whole.rows @ best
    inside = (best >= face.least).all() and (best <= face.most).all() and (slack >= 0).all()
    full = not slack[face.full | (price != 0)].any() and (price[~face.full] >= 0).all()
    open_still = face.least < face.most
    if not (inside and full) or (reduced * (2 * best - 1) < 0)[open_still].any():
        raise ArithmeticError("The solver's answer could not be proved best in whole numbers.")
