"""The family of a plant as its owner reads it: who is whose parent, how sure that is, and how near of kin."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from uuid import UUID

from exchange.science.kinship import inbreeding_coefficients, kinship_matrix
from exchange.selectors.caution import entries_of
from exchange.selectors.wanted_cross import plants_nameable
from growers.models import Grower, Plant
from growers.selectors.family import Parenthood, family
from growers.selectors.relative import Relative, pedigree_known_to

MOST_RECKONED = 1_000
"""Plants of a pedigree that kinship is reckoned for while somebody waits (judgement)."""
DIGITS = 4


@dataclass(frozen=True, slots=True)
class RelativePlant:
    """One's own plant, or another grower's: with id and name only if it was shown in a pairing."""

    own: bool
    public_id: UUID | None
    number: str
    name_as_grown: str | None


@dataclass(frozen=True, slots=True)
class RelativeShown:
    """A relative by one parenthood; ``link_id`` is the own plant it is parent, or seedling, of."""

    generation: int
    role: str
    link_id: UUID
    plant: RelativePlant
    parentage_confidence: str
    direction_known: bool
    kinship: float | None


@dataclass(frozen=True, slots=True)
class KinshipBasis:
    """How many clones the figures rest on, and how many of them have no known parent."""

    clones: int
    founders: int


@dataclass(frozen=True, slots=True)
class FamilyForOwner:
    """All that the owner of a plant may know of its family."""

    plant_id: UUID
    inbreeding: float | None
    basis: KinshipBasis | None
    ancestors: tuple[RelativeShown, ...]
    offspring: tuple[RelativeShown, ...]
    complete: bool


def family_for_owner(viewer: Grower, plant: Plant) -> FamilyForOwner:
    """The family of the viewer's own plant; three queries.

    Figures rest on what the viewer may read: whoever has no known parent counts as unrelated.
    """
    found = family(plant)
    relatives = pedigree_known_to(viewer, found.plants) if len(found.plants) <= MOST_RECKONED else []
    kinship, inbreeding = _figures(plant, relatives)
    shown = _shown(viewer, found.plants)

    def relative(link: Parenthood, one: Plant, other: Plant) -> RelativeShown:
        return RelativeShown(
            generation=link.generation,
            role=link.role,
            link_id=other.public_id,
            plant=_plant(one, own=one.grower_id == viewer.pk, shown=one.pk in shown),
            parentage_confidence=link.offspring.parentage_confidence,
            direction_known=link.offspring.direction_known,
            kinship=kinship.get(one.pk),
        )

    return FamilyForOwner(
        plant_id=plant.public_id,
        inbreeding=inbreeding,
        basis=_basis(relatives),
        ancestors=tuple(relative(link, link.parent, link.offspring) for link in found.ancestors),
        offspring=tuple(relative(link, link.offspring, link.parent) for link in found.offspring),
        complete=found.complete,
    )


def _figures(plant: Plant, relatives: Sequence[Relative]) -> tuple[dict[int, float], float | None]:
    """Kinship of a plant with each of the others by key, and its inbreeding."""
    if not relatives:
        return {}, None
    entries = entries_of(relatives)
    place = next(place for place, each in enumerate(relatives) if plant.pk in each.plant_ids)
    row = kinship_matrix(entries)[place]
    kinship = {
        pk: round(float(value), DIGITS)
        for each, value in zip(relatives, row, strict=True)
        for pk in each.plant_ids
    }
    return kinship, round(float(inbreeding_coefficients(entries)[place]), DIGITS)


def _shown(viewer: Grower, plants: Collection[Plant]) -> set[int]:
    """Which of others' plants the viewer was shown in a pairing."""
    others = [plant.pk for plant in plants if plant.grower_id != viewer.pk]
    return set(plants_nameable(viewer).filter(pk__in=others).values_list("pk", flat=True))


def _plant(plant: Plant, *, own: bool, shown: bool) -> RelativePlant:
    if not own and not shown:
        return RelativePlant(own, None, "", None)
    return RelativePlant(own, plant.public_id, plant.number if own else "", plant.name_as_grown)


def _basis(relatives: Sequence[Relative]) -> KinshipBasis | None:
    founders = sum(each.seed_parent is None and each.pollen_parent is None for each in relatives)
    return KinshipBasis(len(relatives), founders) if relatives else None
