"""Kinship of plants of any ploidy, and the inbreeding of the offspring of a cross."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import comb
from typing import Literal

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.constants import KINSHIP_STRONG_WARNING, KINSHIP_WARNING

KinshipWarning = Literal["none", "warn", "strong", "self"]

HIGHEST_SETS = 64
# Sums of halves and thirds may end a hair below a threshold they reach.
ROUNDING = 1e-12


@dataclass(frozen=True)
class PedigreeEntry:
    """One clone: its parents (None = unknown) and the chromosome sets each parent gave.

    ``seed_sets`` and ``pollen_sets`` default to half the parent's own sets. ``double_reduction`` is
    the chance λ, 0–1, that two sets of one gamete descend from one chromosome of the parent; it
    holds for both gametes this plant came from unless one is given its own.
    """

    name: str
    seed_parent: str | None = None
    pollen_parent: str | None = None
    chromosome_sets: int = 2
    seed_sets: int | None = None
    pollen_sets: int | None = None
    double_reduction: float = 0.0
    seed_double_reduction: float | None = None
    pollen_double_reduction: float | None = None


@dataclass(frozen=True)
class OffspringInbreeding:
    """F of the offspring if chromosomes pair as in a diploid, and if all sets pair at random."""

    disomic: float
    polysomic: float
    warning: KinshipWarning


@dataclass(frozen=True)
class _Gamete:
    parent: str | None
    sets: int
    double_reduction: float


def _check_entry(entry: PedigreeEntry) -> None:
    check_range(f"chromosome_sets of {entry.name}", entry.chromosome_sets, 1, HIGHEST_SETS)
    reductions = (entry.double_reduction, entry.seed_double_reduction, entry.pollen_double_reduction)
    for reduction in reductions:
        if reduction is not None:
            check_range(f"double_reduction of {entry.name}", reduction, 0.0, 1.0)


def _by_name(pedigree: Sequence[PedigreeEntry]) -> dict[str, PedigreeEntry]:
    entries: dict[str, PedigreeEntry] = {}
    for entry in pedigree:
        _check_entry(entry)
        if entry.name in entries:
            raise ValueError(f"{entry.name} is in the pedigree twice; allowed: once.")
        entries[entry.name] = entry
    for entry in pedigree:
        for parent in (entry.seed_parent, entry.pollen_parent):
            if parent is not None and parent not in entries:
                raise ValueError(f"{parent}, a parent of {entry.name}, is not in the pedigree; add it.")
    return entries


def _ancestors_first(entries: dict[str, PedigreeEntry]) -> list[str]:
    """Order plants after their parents; a plant met again on its own line is its own ancestor."""
    order: list[str] = []
    done: set[str] = set()
    open_line: set[str] = set()
    # A stack of our own: pedigrees of many generations would exceed Python's recursion limit.
    stack = [(name, False) for name in reversed(entries)]
    while stack:
        name, parents_done = stack.pop()
        if parents_done:
            open_line.discard(name)
            done.add(name)
            order.append(name)
        elif name not in done:
            open_line.add(name)
            stack.append((name, True))
            parents = (entries[name].seed_parent, entries[name].pollen_parent)
            for parent in parents:
                if parent in open_line:
                    raise ValueError(f"{parent} is its own ancestor; allowed: a pedigree without circles.")
                if parent is not None:
                    stack.append((parent, False))
    return order


def _gametes(entry: PedigreeEntry, entries: Mapping[str, PedigreeEntry]) -> tuple[_Gamete, _Gamete]:
    given = [entry.seed_sets, entry.pollen_sets]
    parents = [entry.seed_parent, entry.pollen_parent]
    for i, parent in enumerate(parents):
        if given[i] is None and parent is not None:
            own = entries[parent].chromosome_sets
            if own % 2 == 0:
                given[i] = own // 2
    seed, pollen = given
    seed = seed if seed is not None else entry.chromosome_sets - (pollen or 0)
    pollen = pollen if pollen is not None else entry.chromosome_sets - seed
    if seed < 1 or pollen < 1 or seed + pollen != entry.chromosome_sets:
        raise ValueError(
            f"{entry.name} has {entry.chromosome_sets} chromosome sets but receives {seed} + {pollen}; "
            "state seed_sets and pollen_sets, each at least 1, that add up."
        )
    reductions = [
        entry.double_reduction if own is None else own
        for own in (entry.seed_double_reduction, entry.pollen_double_reduction)
    ]
    return _Gamete(parents[0], seed, reductions[0]), _Gamete(parents[1], pollen, reductions[1])


def _within_gamete(gamete: _Gamete, inbreeding: Mapping[str, float]) -> float:
    own = 0.0 if gamete.parent is None else inbreeding[gamete.parent]
    return gamete.double_reduction + (1.0 - gamete.double_reduction) * own


def _offspring_f(
    seed: _Gamete, pollen: _Gamete, inbreeding: Mapping[str, float], kinship_of_parents: float
) -> float:
    alike = sum(comb(gamete.sets, 2) * _within_gamete(gamete, inbreeding) for gamete in (seed, pollen))
    alike += seed.sets * pollen.sets * kinship_of_parents
    return alike / comb(seed.sets + pollen.sets, 2)


def _row_of(parent: str | None, kinship: FloatArray, position: Mapping[str, int]) -> FloatArray:
    return np.zeros(len(position)) if parent is None else kinship[position[parent]]


def _kinship(entries: dict[str, PedigreeEntry]) -> tuple[FloatArray, dict[str, float]]:
    position = {name: i for i, name in enumerate(entries)}
    kinship = np.zeros((len(entries), len(entries)))
    inbreeding: dict[str, float] = {}
    for name in _ancestors_first(entries):
        entry, i = entries[name], position[name]
        inbreeding[name] = 0.0
        if entry.seed_parent is not None or entry.pollen_parent is not None:
            seed, pollen = _gametes(entry, entries)
            seed_row, pollen_row = (_row_of(gamete.parent, kinship, position) for gamete in (seed, pollen))
            between = 0.0 if pollen.parent is None else float(seed_row[position[pollen.parent]])
            inbreeding[name] = _offspring_f(seed, pollen, inbreeding, between)
            row = (seed.sets * seed_row + pollen.sets * pollen_row) / entry.chromosome_sets
            kinship[i, :], kinship[:, i] = row, row
        kinship[i, i] = (1.0 + (entry.chromosome_sets - 1) * inbreeding[name]) / entry.chromosome_sets
    return kinship, inbreeding


def kinship_matrix(pedigree: Sequence[PedigreeEntry]) -> FloatArray:
    """Give the kinship of every two plants of a pedigree.

    Parameters
    ----------
    pedigree : sequence of PedigreeEntry
        Clones in any order, each once, with every named parent among them; 1–64 chromosome sets,
        double reduction 0–1. Two plants of one clone are one entry.

    Returns
    -------
    FloatArray
        Shape (n, n), in the order given, 0–1: the chance that an allele drawn from each is identical
        by descent. On the diagonal (1 + (k − 1)·F) / k for k chromosome sets.

    Raises
    ------
    ValueError
        If a name is double or missing, sets do not add up, or a plant is its own ancestor.

    Notes
    -----
    Kerr et al. 2012, Theor. Appl. Genet. 124:1271-1282, and Hamilton & Kerr 2018, 131(4):851-860
    (abstracts). Plants without parents count as unrelated and not inbred whatever their double
    reduction: a λ given to founders in the published recurrence makes the founders themselves inbred.
    """
    return _kinship(_by_name(pedigree))[0]


def inbreeding_coefficients(pedigree: Sequence[PedigreeEntry]) -> FloatArray:
    """Give the inbreeding coefficient F of every plant of a pedigree.

    Parameters
    ----------
    pedigree : sequence of PedigreeEntry
        As in ``kinship_matrix``.

    Returns
    -------
    FloatArray
        Shape (n,), in the order given, 0–1.

    Raises
    ------
    ValueError
        As ``kinship_matrix``.
    """
    inbreeding = _kinship(_by_name(pedigree))[1]
    return np.array([inbreeding[entry.name] for entry in pedigree], dtype=np.float64)


def kinship_warning(disomic: float, *, same_clone: bool = False) -> KinshipWarning:
    """Say how near of kin two parents are.

    Parameters
    ----------
    disomic : float
        F of the offspring under disomic inheritance, 0–1.
    same_clone : bool, optional
        Whether both parents are the same clone.

    Returns
    -------
    str
        ``self``, ``strong`` from 0.25, ``warn`` from 0.125, else ``none`` (judgement).

    Raises
    ------
    ValueError
        If ``disomic`` is out of range.
    """
    check_range("disomic", disomic, 0.0, 1.0)
    if same_clone:
        return "self"
    if disomic >= KINSHIP_STRONG_WARNING.value - ROUNDING:
        return "strong"
    return "warn" if disomic >= KINSHIP_WARNING.value - ROUNDING else "none"


def _as_diploid(entry: PedigreeEntry) -> PedigreeEntry:
    return replace(entry, chromosome_sets=2, seed_sets=1, pollen_sets=1)


def offspring_inbreeding(
    pedigree: Sequence[PedigreeEntry],
    seed_parent: str,
    pollen_parent: str,
    *,
    seed_sets: int | None = None,
    pollen_sets: int | None = None,
    double_reduction: float = 0.0,
) -> OffspringInbreeding:
    """Give F of the offspring of a cross, disomic and polysomic, and the warning.

    Parameters
    ----------
    pedigree : sequence of PedigreeEntry
        As in ``kinship_matrix``, with both parents in it.
    seed_parent, pollen_parent : str
        Names of the parents; the same name twice is a self.
    seed_sets, pollen_sets : int, optional
        Chromosome sets in each gamete, 1–64; by default half of the parent's, rounded down.
    double_reduction : float, optional
        λ of both gametes, 0–1.

    Returns
    -------
    OffspringInbreeding
        The warning rests on the disomic figure whatever the ploidy: how *Nymphaea* chromosomes pair
        is not known, and the polysomic figure of parents that are not inbred is the smaller.

    Raises
    ------
    ValueError
        As ``kinship_matrix``, or if a parent is not in the pedigree.

    Notes
    -----
    Never a factor in the chance of a capsule: no figure of inbreeding depression was found for
    *Nymphaea*.
    """
    entries = _by_name(pedigree)
    for name in (seed_parent, pollen_parent):
        if name not in entries:
            raise ValueError(f"{name} is not in the pedigree; add it.")
    sets = [
        max(1, entries[name].chromosome_sets // 2) if own is None else own
        for name, own in ((seed_parent, seed_sets), (pollen_parent, pollen_sets))
    ]
    check_range("gamete sets", sets, 1, HIGHEST_SETS)
    check_range("double_reduction", double_reduction, 0.0, 1.0)
    gametes = [
        _Gamete(name, count, double_reduction)
        for name, count in zip((seed_parent, pollen_parent), sets, strict=True)
    ]
    diploid = {name: _as_diploid(entry) for name, entry in entries.items()}
    position = {name: i for i, name in enumerate(entries)}
    pair = (position[seed_parent], position[pollen_parent])
    kinship, inbreeding = _kinship(entries)
    disomic = float(_kinship(diploid)[0][pair])
    polysomic = _offspring_f(gametes[0], gametes[1], inbreeding, float(kinship[pair]))
    same = seed_parent == pollen_parent
    return OffspringInbreeding(disomic, polysomic, kinship_warning(disomic, same_clone=same))
