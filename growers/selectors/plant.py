"""Plants as their owner sees them, and the little that others may read of one they were shown."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import QuerySet

from growers.errors import NotFound
from growers.models import Grower, Plant
from growers.selectors import site as site_selector
from growers.selectors.site import Region


@dataclass(frozen=True, slots=True)
class PlantForOthers:
    """What others read of a plant that somebody may show them; who may is not known to the facts."""

    public_id: UUID
    name_as_grown: str
    taxon_name: str
    group: str
    diel: str
    identity: str
    region: Region


@dataclass(frozen=True, slots=True)
class Parent:
    """A parent as the owner of the seedling sees it; the number only of a plant of their own."""

    public_id: UUID
    number: str
    name_as_grown: str


@dataclass(frozen=True, slots=True)
class PlantForOwner:
    """All that is known of a plant."""

    public_id: UUID
    site_public_id: UUID
    site_name: str
    number: str
    name_as_grown: str
    taxon_name: str
    group: str
    diel: str
    identity: str
    crowns: int
    traits: tuple[str, ...]
    seed_fertility: str
    pollen_fertility: str
    fertility_evidence: str
    chromosome_counts: tuple[int, ...]
    seed_parent: Parent | None
    pollen_parent: Parent | None
    parentage_confidence: str
    direction_known: bool
    origin: str
    wild_country: str
    wild_year: int | None
    rights: str
    health_seen: str


def plants_of(owner: Grower) -> list[PlantForOwner]:
    """All plants of a grower in the order of entry; one query."""
    return [_for_owner(plant) for plant in _whole().filter(grower=owner).order_by("pk")]


def plant_of(owner: Grower, public_id: UUID) -> PlantForOwner:
    """One plant for its owner; ``NotFound`` to everybody else. One query."""
    plant = _whole().filter(grower=owner, public_id=public_id).first()
    if plant is None:
        raise NotFound("There is no such plant.")
    return _for_owner(plant)


def plants_for_others(plant_ids: Iterable[int]) -> dict[int, PlantForOthers]:
    """What others may read of these plants, which the caller decided to show; one query."""
    plants = Plant.objects.filter(pk__in=list(plant_ids)).select_related("site", "taxon")
    return {plant.pk: plant_for_others(plant) for plant in plants}


def _whole() -> QuerySet[Plant]:
    return Plant.objects.select_related("site", "taxon", "seed_parent", "pollen_parent")


def plant_for_others(plant: Plant) -> PlantForOthers:
    """What others may read of a loaded plant with its site and taxon; no query."""
    return PlantForOthers(
        public_id=plant.public_id,
        name_as_grown=plant.name_as_grown,
        taxon_name=plant.taxon.name if plant.taxon else "",
        group=plant.group,
        diel=plant.diel,
        identity=plant.identity,
        region=site_selector.region(plant.site),
    )


def _for_owner(plant: Plant) -> PlantForOwner:
    return PlantForOwner(
        public_id=plant.public_id,
        site_public_id=plant.site.public_id,
        site_name=plant.site.name,
        number=plant.number,
        name_as_grown=plant.name_as_grown,
        taxon_name=plant.taxon.name if plant.taxon else "",
        group=plant.group,
        diel=plant.diel,
        identity=plant.identity,
        crowns=plant.crowns,
        traits=tuple(plant.traits),
        seed_fertility=plant.seed_fertility,
        pollen_fertility=plant.pollen_fertility,
        fertility_evidence=plant.fertility_evidence,
        chromosome_counts=tuple(plant.chromosome_counts),
        seed_parent=_parent(plant, plant.seed_parent),
        pollen_parent=_parent(plant, plant.pollen_parent),
        parentage_confidence=plant.parentage_confidence,
        direction_known=plant.direction_known,
        origin=plant.origin,
        wild_country=plant.wild_country,
        wild_year=plant.wild_year,
        rights=plant.rights,
        health_seen=plant.health_seen,
    )


def _parent(plant: Plant, parent: Plant | None) -> Parent | None:
    if parent is None:
        return None
    number = parent.number if parent.grower_id == plant.grower_id else ""
    return Parent(parent.public_id, number, parent.name_as_grown)
