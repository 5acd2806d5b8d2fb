"""Who descends from whom: ancestors of plants as plain data for kinship, and paths between plants."""

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from growers.errors import Conflict
from growers.models import Grower, Plant, Taxon

MOST_GENERATIONS = 60
"""Pedigrees are followed no further (judgement); it bounds the work that one plant can cause."""

Parents = dict[int, tuple[int | None, int | None]]


@dataclass(frozen=True, slots=True)
class Relative:
    """One clone of a pedigree; parents are clones of the same list, or None where unknown.

    ``plant_ids`` are the accessions of the clone in the list: two growers' plants of one cultivar are one.
    """

    clone: str
    seed_parent: str | None
    pollen_parent: str | None
    ploidy: float | None
    plant_ids: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    pk: int
    parents: tuple[int | None, int | None]
    clone: str
    ploidy: float | None


def pedigree(plant_ids: Iterable[int]) -> list[Relative]:
    """These plants and all their known ancestors, parents before offspring; one query a generation.

    Parentage that a test contradicts counts as unknown; a plant whose identity is in doubt is a clone of
    its own.
    """
    return _relatives(_ancestor_rows(plant_ids))


def pedigree_known_to(owner: Grower, plants: Collection[Plant]) -> list[Relative]:
    """Loaded plants as :func:`pedigree` gives them, as far as one grower may read; no query.

    Parents of another's plant are that grower's to know and count as unknown here.
    """
    rows = {plant.pk: _row(plant) for plant in plants if plant.grower_id == owner.pk}
    others = [plant for plant in plants if plant.grower_id != owner.pk]
    return _relatives(rows | {plant.pk: replace(_row(plant), parents=(None, None)) for plant in others})


def _relatives(rows: dict[int, _Row]) -> list[Relative]:
    clone_parents = _clone_parents(rows)
    by_clone: dict[str, list[_Row]] = {}
    for row in sorted(rows.values(), key=lambda row: row.pk):
        by_clone.setdefault(row.clone, []).append(row)
    return [
        Relative(
            clone,
            *clone_parents.get(clone, (None, None)),
            ploidy=by_clone[clone][0].ploidy,
            plant_ids=tuple(row.pk for row in by_clone[clone]),
        )
        for clone in _parents_first(by_clone, clone_parents)
    ]


def parents_upward(plant_ids: Iterable[int]) -> Parents:
    """Recorded parents, contradicted ones too, of plants and all their ancestors; a query a generation.

    Raises ``Conflict`` for a pedigree too deep to be followed: whoever asks whether a line closes must
    not take a walk cut short for a no.
    """
    known: Parents = {}
    wanted = set(plant_ids)
    for _ in range(MOST_GENERATIONS):
        found = Plant.objects.filter(pk__in=wanted).values_list("pk", "seed_parent_id", "pollen_parent_id")
        known.update({pk: (seed, pollen) for pk, seed, pollen in found})
        wanted = {up for pk in wanted for up in known.get(pk, ()) if up is not None} - set(known)
        if not wanted:
            return known
    raise Conflict(f"This pedigree is deeper than {MOST_GENERATIONS} generations; it cannot be changed.")


def line_of_descent(parents: Parents, plant_id: int, ancestor_id: int) -> list[int]:
    """The shortest line ``[plant, …, ancestor]``, each the parent of the one before; empty if none."""
    offspring: dict[int, int | None] = {plant_id: None}
    generation = [plant_id]
    while generation and ancestor_id not in offspring:
        further = {up: pk for pk in generation for up in parents.get(pk, ()) if up is not None}
        generation = [up for up in further if up not in offspring]
        offspring.update((up, further[up]) for up in generation)
    line: list[int] = []
    here = ancestor_id if ancestor_id in offspring else None
    while here is not None:
        line.append(here)
        here = offspring[here]
    return line[::-1]


def on_circles(parents: Parents) -> Parents:
    """Those that are their own ancestors, with parents on the same circles; its time grows with the links."""
    places = {pk: place for place, pk in enumerate(parents)}
    links = [(places[pk], places[up]) for pk, ups in parents.items() for up in ups if up in places]
    rows, columns = zip(*links, strict=True) if links else ((), ())
    graph = coo_array(([True] * len(links), (rows, columns)), shape=(len(places), len(places)))
    _, found = connected_components(graph, connection="strong")
    circle: dict[int | None, int] = dict(zip(parents, found.tolist(), strict=True))
    sizes = Counter(circle.values())

    def inside(pk: int, up: int | None) -> int | None:
        return up if circle.get(up) == circle[pk] else None

    return {
        pk: (inside(pk, seed), inside(pk, pollen))
        for pk, (seed, pollen) in parents.items()
        if sizes[circle[pk]] > 1 or pk in (seed, pollen)
    }


def _ancestor_rows(plant_ids: Iterable[int]) -> dict[int, _Row]:
    rows: dict[int, _Row] = {}
    wanted = set(plant_ids)
    for _ in range(MOST_GENERATIONS):
        if not wanted:
            break
        for plant in Plant.objects.filter(pk__in=wanted).select_related("taxon"):
            rows[plant.pk] = _row(plant)
        wanted = {up for pk in wanted if pk in rows for up in rows[pk].parents if up is not None} - set(rows)
    return rows


def _row(plant: Plant) -> _Row:
    disagrees = plant.parentage_confidence == Plant.Confidence.DISAGREES
    parents = (None, None) if disagrees else (plant.seed_parent_id, plant.pollen_parent_id)
    taxon = plant.taxon
    is_clone = taxon is not None and taxon.rank == Taxon.Rank.CULTIVAR
    named = is_clone and plant.identity != Plant.Identity.IN_DOUBT
    clone = f"cultivar {plant.taxon_id}" if named else f"plant {plant.pk}"
    return _Row(plant.pk, parents, clone, taxon.ploidy if taxon else None)


def _clone_parents(rows: dict[int, _Row]) -> dict[str, tuple[str | None, str | None]]:
    """Parents of each clone: those of its first accession that knows any.

    Growers may contradict each other about a cultivar; what would make a clone its own ancestor is left
    out, because kinship has no answer for it.
    """
    chosen: dict[str, tuple[str | None, str | None]] = {}
    for row in sorted(rows.values(), key=lambda row: row.pk):
        seed, pollen = (rows[up].clone if up in rows else None for up in row.parents)
        circular = any(up is not None and _descends(chosen, up, row.clone) for up in (seed, pollen))
        if row.clone not in chosen and (seed or pollen) and not circular:
            chosen[row.clone] = (seed, pollen)
    return chosen


def _descends(parents: dict[str, tuple[str | None, str | None]], clone: str, ancestor: str) -> bool:
    waiting, seen = [clone], set[str]()
    while waiting:
        here = waiting.pop()
        if here == ancestor:
            return True
        if here not in seen:
            seen.add(here)
            waiting.extend(up for up in parents.get(here, ()) if up is not None)
    return False


def _parents_first(clones: Iterable[str], parents: dict[str, tuple[str | None, str | None]]) -> list[str]:
    """The clones in an order in which parents stand before their offspring."""
    placed: dict[str, None] = {}
    waiting = list(reversed(list(clones)))
    while waiting:
        clone = waiting[-1]
        missing = [up for up in parents.get(clone, ()) if up is not None and up not in placed]
        if missing:
            waiting.extend(missing)
        else:
            placed[waiting.pop()] = None
    return list(placed)
