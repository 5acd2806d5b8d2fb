"""All that may change in what a grower reads of a pairing, without its weight.

A pairing's plan, reasons and papers are written once; what may change are its state and the facts beside it.
Answers about a pairing with the same stamp are the same, in the same language.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from operator import attrgetter
from typing import Any

from django.db import connection
from django.db.models import QuerySet
from django.db.models.fields.json import KeyTextTransform

from exchange.models import Pairing
from exchange.selectors.pairing import pairings_of
from growers.models import Grower, Plant

Stamp = tuple[object, ...]

CHOSEN = "IN (%s)"
"""Where the keys stand in a query for one."""
PAIRING = (
    "public_id",
    "state",
    "changed_at",
    "offer__kind",
    "offer__treatment",
    "offer__packing",
    "offer__doses",
    "offer__terms",
    "earlier",
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
    others = ("pk", "created_at", "offer__plant_id", "wanted_cross__seed_parent_id")
    found: QuerySet[Pairing, Any] = pairings_of(viewer).values(*others, *PAIRING)
    return found


def stamps(viewer: Grower, rows: Sequence[Mapping[str, Any]]) -> dict[int, Stamp]:
    """The stamp of each pairing by its key, for rows of :func:`light`; one query for all."""
    sides = [(row["offer__plant_id"], row["wanted_cross__seed_parent_id"]) for row in rows]
    plants = _plants({plant for side in sides for plant in side})
    return {
        row["pk"]: _stamp(viewer, [row[name] for name in PAIRING], plants[offered], plants[seed_parent])
        for row, (offered, seed_parent) in zip(rows, sides, strict=True)
    }


def stamp_of(viewer: Grower, pairing: Pairing) -> Stamp:
    """The stamp of a loaded pairing of ``pairings_of``; no query."""
    plant = pairing.offer.plant
    taxon = plant.taxon
    said = (taxon.name, taxon.sources.get("fertility", {}).get("source")) if taxon else (None, None)
    offered = (*of_offered(plant), *said)
    return _stamp(viewer, of_pairing(pairing), offered, of_named(pairing.wanted_cross.seed_parent))


def _stamp(
    viewer: Grower, pairing: Sequence[object], offered: Sequence[object], seed_parent: Sequence[object]
) -> Stamp:
    is_donor = offered[OFFERED.index("grower_id")] == viewer.pk
    plain = (repr(value) if isinstance(value, list) else value for value in pairing)
    return (is_donor, *plain, *offered, *seed_parent[: len(NAMED)])


def _plants(keys: Iterable[int]) -> dict[int, Sequence[object]]:
    """What may be read of each plant, with name of the taxon and source of its fertility."""
    sql, parameters = _plant_query()
    # Whole numbers of our own; so many parameters would cost more than the answer.
    chosen = ",".join(map(str, keys)) or "NULL"
    with connection.cursor() as cursor:
        cursor.execute(sql.replace(CHOSEN, f"IN ({chosen})"), parameters)
        return {key: facts for key, *facts in cursor.fetchall()}


@cache
def _plant_query() -> tuple[str, list[Any]]:
    """Made once: to make it costs more than the database needs to answer it."""
    source = KeyTextTransform("source", KeyTextTransform("fertility", "taxon__sources"))
    plants = Plant.objects.filter(pk__in=[0]).values_list("pk", *OFFERED, "taxon__name", source)
    sql, parameters = plants.query.sql_with_params()
    return sql, list(parameters[:-1])
