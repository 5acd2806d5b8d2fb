"""Plants: entered and changed by their grower."""

from collections.abc import Collection, Mapping
from typing import Unpack

from django.db import transaction

from growers import clock
from growers.errors import NotFound
from growers.models import Change, Grower, Plant, Site
from growers.selectors.relative import Parents, line_of_descent, parents_upward
from growers.services.grower import open_grower
from growers.services.plant_rule import (
    PARENTS,
    PlantFacts,
    PlantFields,
    circle_note,
    free_numbers,
    group_diels,
    plant_check,
    taxon_facts_set,
)
from growers.services.problem import Problems
from growers.services.row import fields_set, row_save

OF_ANOTHER = "a plant of another grower"


def plant_create(
    *, actor: Grower, site: Site, shown_plant_ids: Collection[int] = (), **fields: Unpack[PlantFacts]
) -> Plant:
    """Add a plant; a number is given if none is typed, group and diel habit come from the taxon.

    ``shown_plant_ids`` are plants of others that the actor may name as parents: who was shown which
    plant is known to the caller, not to the facts.
    """
    with transaction.atomic():
        plant = Plant(grower=open_grower(actor), site=site)
        problems = Problems()
        fields_set(plant, fields, PlantFacts.__annotations__)
        plant.number = plant.number or next(free_numbers(_numbers(plant)))
        _relations_check(plant, fields, shown_plant_ids, problems)
        _facts_check(plant, fields, problems)
        row_save(plant, kind=Change.Kind.PLANT)
    return plant


def plant_update(
    *, actor: Grower, plant: Plant, shown_plant_ids: Collection[int] = (), **fields: Unpack[PlantFields]
) -> Plant:
    """Change some facts of one's own plant; parents that descend from it are refused."""
    with transaction.atomic():
        pedigree = _pedigree_locked(plant, _new_parents(actor, fields, shown_plant_ids))
        own = own_plant(actor, plant)
        kept = {pk for pk in (own.seed_parent_id, own.pollen_parent_id) if pk is not None}
        problems = Problems()
        fields_set(own, fields, PlantFields.__annotations__)
        _relations_check(own, fields, {*shown_plant_ids, *kept}, problems)
        _circle_check(own, fields, pedigree, problems)
        _facts_check(own, fields, problems)
        row_save(own, kind=Change.Kind.PLANT, names=[*fields, "group", "diel"])
    return own


def own_plant(actor: Grower, plant: Plant) -> Plant:
    """The locked row of a plant of the actor; to others there is none."""
    open_plants = Plant.objects.select_for_update(of=("self",)).filter(grower__closed_at=None)
    found = open_plants.filter(pk=plant.pk, grower=actor).select_related("taxon", "site").first()
    if found is None:
        raise NotFound("There is no such plant.")
    return found


def own_site_check(actor: Grower, site: Site) -> None:
    """Refuse a site that is not the actor's as if there were none."""
    if not Site.objects.filter(pk=site.pk, grower=actor).exists():
        raise NotFound("There is no such site.")


def _relations_check(
    plant: Plant, fields: PlantFacts, shown_plant_ids: Collection[int], problems: Problems
) -> None:
    own_site_check(plant.grower, plant.site)
    for name in PARENTS:
        parent: Plant | None = fields.get(name)  # type: ignore[assignment]
        if parent is not None and not _may_name(plant.grower, parent, shown_plant_ids):
            # Its number would tell that it exists.
            sentence = f"{name} is not a plant you can see; allowed: a plant of yours or one shown to you."
            problems.add_sentence(name, "not_found", sentence)


def _may_name(grower: Grower, parent: Plant, shown_plant_ids: Collection[int]) -> bool:
    if parent.pk in shown_plant_ids:
        return True
    return Plant.objects.filter(pk=parent.pk, grower=grower).exists()


def _facts_check(plant: Plant, fields: Mapping[str, object], problems: Problems) -> None:
    taxon_facts_set(plant, fields, group_diels(), problems)
    plant_check(plant, problems, this_year=clock.today(plant.site.cell_zone).year)
    if plant.number in _numbers(plant):
        problems.add("number", plant.number, "a number that none of your plants has yet", code="taken")
    problems.refuse_if_any()


def _numbers(plant: Plant) -> set[str]:
    others = Plant.objects.filter(grower=plant.grower).exclude(pk=plant.pk)
    return set(others.values_list("number", flat=True))


def _new_parents(actor: Grower, fields: PlantFields, shown_plant_ids: Collection[int]) -> list[int]:
    """Ids of the stated parents that the actor may name; how deep another's pedigree is stays hidden."""
    parents: list[Plant | None] = [fields.get("seed_parent"), fields.get("pollen_parent")]
    return [up.pk for up in parents if up is not None and _may_name(actor, up, shown_plant_ids)]


def _pedigree_locked(plant: Plant, parent_ids: list[int]) -> Parents:
    """Parents of all ancestors of the new parents, locked.

    Two growers who at one moment make each other's plants parents would close a circle that neither
    check sees. Rows are locked in the order of their ids, so that nobody waits in a ring.
    """
    locked: set[int] = set()
    while parent_ids:
        known = parents_upward(parent_ids)
        lines = {plant.pk, *known}
        if lines <= locked:
            return known
        list(Plant.objects.select_for_update().filter(pk__in=lines).order_by("pk").values_list("pk"))
        locked |= lines
    return {}


def _circle_check(plant: Plant, fields: PlantFields, pedigree: Parents, problems: Problems) -> None:
    for name in PARENTS:
        parent: Plant | None = fields.get(name)  # type: ignore[assignment]
        line = [] if parent is None else line_of_descent(pedigree, parent.pk, plant.pk)
        if line and not problems.has(name):
            circle_note(problems, name, _labels(plant, line))


def _labels(plant: Plant, line: list[int]) -> list[str]:
    """What the path may show: the grower's own numbers, never another's."""
    own = Plant.objects.filter(pk__in=line, grower=plant.grower).values_list("pk", "number")
    numbers = dict(own) | {plant.pk: plant.number}
    return [plant.number, *(numbers.get(pk, OF_ANOTHER) for pk in line)]
