"""The family of a plant, as far as its owner may know."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from growers.models import Grower, Plant
from growers.selectors import family as module
from growers.selectors.family import Parenthood, family
from growers.services.plant import plant_create
from tests.factories import make_plant, make_site

pytestmark = pytest.mark.django_db

Told = list[tuple[int, str, Plant, Plant]]


def told(links: tuple[Parenthood, ...]) -> Told:
    return [(link.generation, link.role, link.parent, link.offspring) for link in links]


def test_both_directions_and_all_generations(donor: Grower) -> None:
    grandmother, father = make_plant(donor), make_plant(donor)
    mother = make_plant(donor, seed_parent=grandmother)
    plant = make_plant(donor, seed_parent=mother, pollen_parent=father)
    child = make_plant(donor, pollen_parent=plant)
    grandchild = make_plant(donor, seed_parent=child, pollen_parent=plant)
    make_plant(donor, name_as_grown="no kin")
    found = family(plant)
    assert told(found.ancestors) == [
        (1, "seed_parent", mother, plant),
        (1, "pollen_parent", father, plant),
        (2, "seed_parent", grandmother, mother),
    ]
    assert told(found.offspring) == [
        (1, "pollen_parent", plant, child),
        (1, "pollen_parent", plant, grandchild),
        (2, "seed_parent", child, grandchild),
    ]
    assert set(found.plants) == {grandmother, father, mother, plant, child, grandchild}
    assert found.complete


def test_what_others_know_of_their_plants_is_theirs(
    donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    root = make_plant(recipient)
    theirs = make_plant(recipient, seed_parent=root)
    mine = plant_create(
        actor=donor,
        site=make_site(donor),
        group="hardy",
        diel="day",
        pollen_parent=theirs,
        shown_plant_ids=[theirs.pk],
    )
    for other in (recipient, outsider):
        plant_create(
            actor=other,
            site=make_site(other, name="another pond"),
            group="hardy",
            diel="day",
            seed_parent=mine,
            shown_plant_ids=[mine.pk],
        )
    found = family(mine)
    assert told(found.ancestors) == [(1, "pollen_parent", theirs, mine)]
    assert found.offspring == ()
    assert set(found.plants) == {mine, theirs}


def test_what_a_test_contradicts_is_listed_and_not_followed(donor: Grower) -> None:
    root = make_plant(donor)
    mother = make_plant(donor, seed_parent=root)
    plant = make_plant(donor, seed_parent=mother, parentage_confidence="disagrees")
    child = make_plant(donor, seed_parent=plant, parentage_confidence="disagrees")
    make_plant(donor, seed_parent=child)
    found = family(plant)
    assert told(found.ancestors) == [(1, "seed_parent", mother, plant)]
    assert told(found.offspring) == [(1, "seed_parent", plant, child)]


def test_a_huge_family_is_cut_and_says_so(donor: Grower, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_LISTED", 3)
    plant = make_plant(donor)
    children = [make_plant(donor, seed_parent=plant) for _ in range(3)]
    assert family(plant).complete
    children.append(make_plant(donor, seed_parent=plant))
    found = family(plant)
    assert [link.offspring for link in found.offspring] == children[:3]
    assert not found.complete


def test_a_family_is_two_queries_however_large(donor: Grower, recipient: Grower) -> None:
    theirs = make_plant(recipient)
    plant = make_plant(donor)
    Plant.objects.filter(pk=plant.pk).update(pollen_parent=theirs)
    plant.refresh_from_db()
    for expected in (1, 8):
        last = plant
        while len(family(plant).offspring) < expected:
            last = make_plant(donor, seed_parent=last)
        with CaptureQueriesContext(connection) as captured:
            family(plant)
        assert len(captured) == 2
