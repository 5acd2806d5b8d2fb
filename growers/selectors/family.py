"""The family of a plant as far as its owner may know: own plants all the way, of others' only parents named.

What another grower knows of a plant's ancestors is theirs, and so are their seedlings of one's own plants.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from growers.models import Plant

Role = Literal["seed_parent", "pollen_parent"]
ROLES: tuple[Role, Role] = ("seed_parent", "pollen_parent")
MOST_LISTED = 300
"""Of ancestors, and of offspring (judgement); it bounds the answer that one plant can cause."""


@dataclass(frozen=True, slots=True)
class Parenthood:
    """A plant and one of its parents, so many generations from the plant asked about."""

    generation: int
    role: Role
    parent: Plant
    offspring: Plant


@dataclass(frozen=True, slots=True)
class Family:
    """What is recorded upward and downward, nearest generation first.

    ``plants`` are those listed with all their known ancestors, which kinship rests on; ``complete`` is
    False where more is recorded than is listed.
    """

    ancestors: tuple[Parenthood, ...]
    offspring: tuple[Parenthood, ...]
    plants: tuple[Plant, ...]
    complete: bool


Links = Mapping[int, Sequence[tuple[Role, Plant, Plant]]]
"""By a plant's key: role, parent and offspring of each parenthood in one direction."""


def family(plant: Plant) -> Family:
    """Ancestors and offspring of a plant for its owner's eyes; two queries.

    A parenthood that a test contradicts is listed and not followed any further.
    """
    own = {row.pk: row for row in Plant.objects.filter(grower=plant.grower_id).select_related("taxon")}
    named = {pk for row in own.values() for pk in _parent_keys(row)} - own.keys()
    known = own | {row.pk: row for row in Plant.objects.filter(pk__in=named).select_related("taxon")}
    upward, downward = _links(own.values(), known)
    ancestors = _walk(plant.pk, upward, lambda link: link.parent)
    offspring = _walk(plant.pk, downward, lambda link: link.offspring)
    complete = max(len(ancestors), len(offspring)) <= MOST_LISTED
    ancestors, offspring = ancestors[:MOST_LISTED], offspring[:MOST_LISTED]
    listed = {row.pk for link in (*ancestors, *offspring) for row in (link.parent, link.offspring)}
    plants = tuple(known[pk] for pk in _with_ancestors({plant.pk, *listed}, upward))
    return Family(tuple(ancestors), tuple(offspring), plants, complete)


def _parent_keys(plant: Plant) -> list[int]:
    keys = [getattr(plant, f"{role}_id") for role in ROLES]
    return [key for key in keys if key is not None]


def _links(own: Collection[Plant], known: Mapping[int, Plant]) -> tuple[Links, Links]:
    upward: dict[int, list[tuple[Role, Plant, Plant]]] = defaultdict(list)
    downward: dict[int, list[tuple[Role, Plant, Plant]]] = defaultdict(list)
    for row in sorted(own, key=lambda row: row.pk):
        for role in ROLES:
            parent = known.get(getattr(row, f"{role}_id"))
            if parent is not None:
                upward[row.pk].append((role, parent, row))
                downward[parent.pk].append((role, parent, row))
    return upward, downward


def _walk(start: int, links: Links, further: Callable[[Parenthood], Plant]) -> list[Parenthood]:
    """Every parenthood in one direction, each plant once, until more are found than may be listed."""
    found: list[Parenthood] = []
    seen, generation = {start}, [start]
    for depth in range(1, len(links) + 1):
        new = [Parenthood(depth, *link) for pk in generation for link in links.get(pk, ())]
        found += new
        generation = list(dict.fromkeys(further(link).pk for link in new if _counts(link)))
        generation = [pk for pk in generation if pk not in seen]
        seen.update(generation)
        if not generation or len(found) > MOST_LISTED:
            break
    return found


def _counts(link: Parenthood) -> bool:
    return link.offspring.parentage_confidence != Plant.Confidence.DISAGREES


def _with_ancestors(keys: Collection[int], upward: Links) -> list[int]:
    seen = set(keys)
    waiting = list(keys)
    while waiting:
        parents = {parent.pk for _, parent, _ in upward.get(waiting.pop(), ())} - seen
        seen |= parents
        waiting += parents
    return sorted(seen)
