"""All that may change in what a grower reads of a pairing, without its weight.

A pairing's plan, reasons and papers are written once; what may change are its state and the facts beside it.
Answers about a pairing with the same stamp are the same, in the same language.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from operator import attrgetter
from typing import Any

from django.db.models import Q, QuerySet
from django.db.models.fields.json import KeyTextTransform

from exchange.models import Notification, Pairing
from exchange.selectors.block import hidden_from
from exchange.selectors.pairing import EARLIER_AFTER, TELLING, pairings_between, with_earlier
from exchange.selectors.prepared import GROWER, INSTANT, KEY, Prepared
from growers import clock
from growers.models import Grower, Plant

Stamp = tuple[object, ...]

PAIRING = (
    "public_id",
    "state",
    "changed_at",
    "offer__kind",
    "offer__treatment",
    "offer__packing",
    "offer__doses",
    "offer__terms",
)
NAMED = (
    "name_as_grown",
    "site__region_level",
    "site__subdivision",
    "site__cell_country",
    "site__cell_zone",
    "site__cell_latitude_deg",
    "site__cell_longitude_deg",
)
OFFERED = (*NAMED, "group", "diel", "identity", "grower_id", "grower__handle")
"""Of the plant that is offered; of the seed parent only what is ``NAMED``."""


def paths(names: Iterable[str]) -> Callable[[Any], tuple[object, ...]]:
    """Reads from a loaded row what a query names so."""
    return attrgetter(*(name.replace("__", ".") for name in names))


of_pairing, of_named, of_offered = paths(PAIRING), paths(NAMED), paths(OFFERED)


def light(viewer: Grower) -> QuerySet[Pairing, Any]:
    """The pairings of a grower, each with no more than :func:`stamps` and the order of lists need."""
    return _light(viewer.pk, hidden_from(viewer)).all()


@lru_cache(maxsize=1_000)
def _light(grower_id: int, hidden: frozenset[int]) -> QuerySet[Pairing, Any]:
    """Made once for each grower; every use is a copy."""
    others = ("pk", "created_at", "offer__plant_id", "wanted_cross__seed_parent_id")
    found: QuerySet[Pairing, Any] = pairings_between(grower_id, hidden).values(*others, *PAIRING)
    return found


def stamps(viewer: Grower, rows: Sequence[Mapping[str, Any]]) -> dict[int, Stamp]:
    """The stamp of each pairing by its key, for rows of :func:`light`; two queries for all, or three."""
    sides = [(row["offer__plant_id"], row["wanted_cross__seed_parent_id"]) for row in rows]
    plants = {key: facts for key, *facts in _PLANTS.rows(keys={plant for side in sides for plant in side})}
    earlier = _earlier_among(viewer, [row["pk"] for row in rows])
    found = {}
    for row, (offered, seed_parent) in zip(rows, sides, strict=True):
        told = (row["pk"] in earlier, *(row[name] for name in PAIRING))
        found[row["pk"]] = _stamp(viewer, told, plants[offered], plants[seed_parent])
    return found


def stamp_of(viewer: Grower, pairing: Pairing) -> Stamp:
    """The stamp of a loaded pairing of ``pairings_of``; no query."""
    plant = pairing.offer.plant
    taxon = plant.taxon
    said = (taxon.name, taxon.sources.get("fertility", {}).get("source")) if taxon else (None, None)
    offered = (*of_offered(plant), *said)
    told = (bool(pairing.earlier), *of_pairing(pairing))  # type: ignore[attr-defined]
    return _stamp(viewer, told, offered, of_named(pairing.wanted_cross.seed_parent))


def _stamp(
    viewer: Grower, pairing: Sequence[object], offered: Sequence[object], seed_parent: Sequence[object]
) -> Stamp:
    is_donor = offered[OFFERED.index("grower_id")] == viewer.pk
    plain = (repr(value) if isinstance(value, list) else value for value in pairing)
    return (is_donor, *plain, *offered, *seed_parent[: len(NAMED)])


_PLANTS = Prepared(
    lambda: Plant.objects.filter(pk__in=[KEY]).values_list(
        "pk",
        *OFFERED,
        "taxon__name",
        KeyTextTransform("source", KeyTextTransform("fertility", "taxon__sources")),
    )
)
_UNSEEN = Prepared(
    lambda: Notification.objects.filter(
        grower=GROWER, kind__in=TELLING, read_at=None, created_at__lte=INSTANT
    ).values_list("pk")[:1]
)


def _earlier_among(viewer: Grower, keys: list[int]) -> frozenset[int]:
    """Keys of earlier proposals; there is none unless something was told long ago and not seen."""
    if not _UNSEEN.rows(grower_id=viewer.pk, instant=clock.now() - EARLIER_AFTER):
        return frozenset()
    found = with_earlier(viewer, Pairing.objects.filter(pk__in=keys)).filter(Q(earlier=True))
    return frozenset(found.values_list("pk", flat=True))
