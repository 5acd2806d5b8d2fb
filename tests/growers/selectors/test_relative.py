"""Pedigrees as plain data for kinship."""

import random

import pytest

from growers.errors import Conflict
from growers.models import Grower, Plant
from growers.selectors.relative import (
    MOST_GENERATIONS,
    Parents,
    Relative,
    line_of_descent,
    on_circles,
    parents_upward,
    pedigree,
)
from growers.services.plant import plant_create, plant_update
from tests.factories import make_plant, make_site, make_taxon

pytestmark = pytest.mark.django_db


def clone(plant: Plant) -> str:
    return f"plant {plant.pk}"


def test_ancestors_stand_before_their_offspring(donor: Grower) -> None:
    seedling = make_plant(donor)
    mother, father, grandmother = make_plant(donor), make_plant(donor), make_plant(donor)
    make_plant(donor)
    plant_update(actor=donor, plant=mother, seed_parent=grandmother, pollen_parent=father)
    plant_update(actor=donor, plant=seedling, seed_parent=mother, pollen_parent=father)
    found = pedigree([seedling.pk])
    assert {relative.clone: (relative.seed_parent, relative.pollen_parent) for relative in found} == {
        clone(grandmother): (None, None),
        clone(father): (None, None),
        clone(mother): (clone(grandmother), clone(father)),
        clone(seedling): (clone(mother), clone(father)),
    }
    assert found[-1] == Relative(clone(seedling), clone(mother), clone(father), None, (seedling.pk,))
    places = {relative.clone: place for place, relative in enumerate(found)}
    assert all(
        places[up] < places[one.clone] for one in found for up in (one.seed_parent, one.pollen_parent) if up
    )


def test_a_contradicted_parentage_counts_as_unknown(donor: Grower) -> None:
    mother = make_plant(donor)
    plant = make_plant(donor, seed_parent=mother, parentage_confidence="disagrees")
    assert pedigree([plant.pk]) == [Relative(clone(plant), None, None, None, (plant.pk,))]
    assert parents_upward([plant.pk]) == {plant.pk: (mother.pk, None), mother.pk: (None, None)}


def test_two_growers_plants_of_one_cultivar_are_one_clone(donor: Grower, recipient: Grower) -> None:
    cultivar = make_taxon(ploidy=4.0)
    mother = make_plant(donor)
    one = make_plant(donor, taxon=cultivar)
    other = make_plant(recipient, taxon=cultivar)
    plant_update(actor=donor, plant=one, seed_parent=mother)
    name = f"cultivar {cultivar.pk}"
    assert pedigree([one.pk, other.pk]) == [
        Relative(clone(mother), None, None, None, (mother.pk,)),
        Relative(name, clone(mother), None, 4.0, (one.pk, other.pk)),
    ]


def test_a_plant_in_doubt_and_plants_of_a_species_are_clones_of_their_own(donor: Grower) -> None:
    cultivar = make_taxon()
    species = make_taxon(name="Nymphaea inventa", rank="species")
    plants = [
        make_plant(donor, taxon=cultivar, identity="in_doubt"),
        make_plant(donor, taxon=species),
        make_plant(donor, taxon=species),
    ]
    assert [relative.clone for relative in pedigree(plant.pk for plant in plants)] == list(map(clone, plants))


def test_growers_who_contradict_each_other_make_no_circle(donor: Grower, recipient: Grower) -> None:
    dawn, dusk = make_taxon(name="N. 'Dawn'"), make_taxon(name="N. 'Dusk'")
    first_dawn = make_plant(donor, taxon=dawn)
    first_dusk = make_plant(donor, taxon=dusk, seed_parent=first_dawn)
    second_dusk = make_plant(recipient, taxon=dusk)
    second_dawn = make_plant(recipient, taxon=dawn, seed_parent=second_dusk)
    found = pedigree([first_dusk.pk, second_dawn.pk])
    dawn_name, dusk_name = f"cultivar {dawn.pk}", f"cultivar {dusk.pk}"
    assert [(one.clone, one.seed_parent) for one in found] == [(dawn_name, None), (dusk_name, dawn_name)]
    assert [one.plant_ids for one in found] == [
        (first_dawn.pk, second_dawn.pk),
        (first_dusk.pk, second_dusk.pk),
    ]


def test_a_selfed_cultivar_is_not_its_own_parent(donor: Grower) -> None:
    cultivar = make_taxon()
    mother = make_plant(donor, taxon=cultivar)
    mislabelled = make_plant(donor, taxon=cultivar, seed_parent=mother, pollen_parent=mother)
    (found,) = pedigree([mislabelled.pk])
    assert (found.seed_parent, found.plant_ids) == (None, (mother.pk, mislabelled.pk))


def test_parents_of_other_growers_belong_to_the_pedigree(donor: Grower, recipient: Grower) -> None:
    father = make_plant(donor)
    site = make_site(recipient)
    seedling = plant_create(
        actor=recipient,
        site=site,
        group="hardy",
        diel="day",
        pollen_parent=father,
        shown_plant_ids=[father.pk],
    )
    assert [one.clone for one in pedigree([seedling.pk])] == [clone(father), clone(seedling)]


def line_back(donor: Grower, generations: int) -> Plant:
    plant = make_plant(donor)
    for number in range(generations):
        plant = Plant.objects.create(
            grower=donor, site=plant.site, number=f"g{number}", group="hardy", diel="day", seed_parent=plant
        )
    return plant


def test_a_generation_takes_one_query(donor: Grower, django_assert_num_queries: object) -> None:
    youngest = line_back(donor, 3)
    with django_assert_num_queries(4):  # type: ignore[operator]
        assert len(pedigree([youngest.pk])) == 4
    with django_assert_num_queries(4):  # type: ignore[operator]
        assert len(parents_upward([youngest.pk])) == 4


def test_a_deep_pedigree_is_cut_for_kinship_and_refused_for_circles(donor: Grower) -> None:
    youngest = line_back(donor, MOST_GENERATIONS)
    assert len(pedigree([youngest.pk])) == MOST_GENERATIONS
    with pytest.raises(Conflict, match="deeper than 60 generations"):
        parents_upward([youngest.pk])


def test_nothing_asked_is_nothing_found(django_assert_num_queries: object) -> None:
    with django_assert_num_queries(0):  # type: ignore[operator]
        assert pedigree([]) == []


# --- lines ---


def slow_lines(parents: Parents, plant: int, ancestor: int, seen: tuple[int, ...] = ()) -> list[list[int]]:
    """All lines without a repetition, by trying everything."""
    if plant == ancestor:
        return [[plant]]
    ups = [up for up in parents.get(plant, ()) if up is not None and up not in seen]
    return [[plant, *line] for up in ups for line in slow_lines(parents, up, ancestor, (*seen, plant))]


def test_the_line_is_as_short_as_any_and_made_of_parents() -> None:
    drawn = random.Random(7)
    closed = 0
    for _ in range(300):
        plants = range(7)
        parents: Parents = {
            plant: (drawn.choice([None, *plants]), drawn.choice([None, *plants])) for plant in plants
        }
        line = line_of_descent(parents, 0, 6)
        every = slow_lines(parents, 0, 6)
        assert len(line) == min(map(len, every), default=0)
        assert not line or line in every
        closed += bool(line)
    assert 50 < closed < 250


def test_a_plant_is_a_line_to_itself() -> None:
    assert line_of_descent({1: (2, None)}, 1, 1) == [1]
    assert line_of_descent({1: (2, None)}, 2, 1) == []


def test_only_those_on_a_circle_are_their_own_ancestors() -> None:
    parents: Parents = {
        1: (2, 9),
        2: (1, None),
        3: (1, 4),
        4: (4, 2),
        5: (3, 6),
        6: (None, None),
    }
    assert on_circles(parents) == {1: (2, None), 2: (1, None), 4: (4, None)}
    assert on_circles({1: (2, None), 2: (None, 3)}) == {}
    assert on_circles({}) == {}
