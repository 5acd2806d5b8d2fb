"""Plants as their growers enter and change them."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from growers.errors import Conflict, NotFound
from growers.models import Grower, Plant
from growers.selectors.relative import MOST_GENERATIONS
from growers.services.plant import plant_create, plant_update
from growers.services.plant_rule import free_numbers
from tests.clock import MovableClock
from tests.factories import make_plant, make_site, make_taxon
from tests.growers.refusal import problems, refused

pytestmark = pytest.mark.django_db


def stored(plant: Plant) -> Plant:
    return Plant.objects.get(pk=plant.pk)


def test_a_seedling_needs_no_name_and_gets_a_number(donor: Grower) -> None:
    plant = stored(make_plant(donor))
    assert (plant.number, plant.name_as_grown, plant.crowns) == ("1", "unnamed seedling", 1)
    assert (plant.identity, plant.origin, plant.seed_fertility) == ("as_received", "unknown", "unknown")


def test_numbers_go_on_from_the_highest_plain_one(donor: Grower, recipient: Grower) -> None:
    for number in ("P-900", "7", "0012", "9999999999", "٣٣"):
        make_plant(donor, number=number)
    assert make_plant(donor).number == "13"
    assert make_plant(donor).number == "14"
    assert make_plant(recipient).number == "1"


def test_free_numbers_begin_at_one() -> None:
    numbers = free_numbers([])
    assert [next(numbers), next(numbers)] == ["1", "2"]


def test_a_number_is_used_once_by_a_grower(donor: Grower, recipient: Grower) -> None:
    make_plant(donor, number="P-7")
    make_plant(recipient, number="P-7")
    assert problems(lambda: make_plant(donor, number=" P-7 ")) == {
        "/number": "number is 'P-7'; allowed: a number that none of your plants has yet."
    }


def test_everything_a_grower_says_is_stored(donor: Grower) -> None:
    plant = stored(
        make_plant(
            donor,
            number="P-1",
            name_as_grown="'Evening' × ?",
            group="lotos",
            diel="night",
            identity="flowered_true",
            crowns=500,
            traits=("red", "scented"),
            seed_fertility="no",
            pollen_fertility="yes",
            fertility_evidence="no seed in three summers",
            chromosome_counts=[56, 84],
            origin="wild",
            wild_country="TH",
            wild_year=1998,
            rights="none_known",
            health_seen="clean in May",
            direction_known=False,
        )
    )
    assert (plant.group, plant.diel, plant.crowns) == ("lotos", "night", 500)
    assert (plant.traits, plant.chromosome_counts) == (["red", "scented"], [56, 84])
    assert (plant.origin, plant.wild_country, plant.wild_year) == ("wild", "TH", 1998)
    assert plant.direction_known is False


def test_everything_wrong_is_told_at_once(donor: Grower, clock: MovableClock) -> None:
    clock.set(datetime(2027, 6, 1, tzinfo=UTC))
    make_site(donor)
    found = problems(
        lambda: make_plant(
            donor,
            number="x" * 41,
            name_as_grown="two\nlines",
            group="roses",
            diel="noon",
            identity="sure",
            crowns=501,
            traits=["ok", 3],  # type: ignore[list-item]
            chromosome_counts=[28, 7],
            origin="wild",
            wild_country="Siam",
            wild_year=2028,
        )
    )
    assert found == {
        "/number": "number is '" + "x" * 41 + "'; allowed: at most 40 characters.",
        "/name_as_grown": (
            "name_as_grown is 'two\\nlines'; allowed: text without control or invisible characters."
        ),
        "/group": (
            "group is 'roses'; allowed: hardy, brachyceras, anecphya, lotos, hydrocallis, victoria, nelumbo."
        ),
        "/diel": "diel is 'noon'; allowed: day, night.",
        "/identity": "identity is 'sure'; allowed: as_received, flowered_true, in_doubt.",
        "/crowns": "crowns is 501; allowed: whole numbers from 1 to 500.",
        "/traits": "traits is 3; allowed: words of 1 to 60 characters.",
        "/chromosome_counts": "chromosome_counts is 7; allowed: whole numbers from 8 to 400 (2n).",
        "/wild_country": (
            "wild_country is 'Siam'; allowed: an ISO 3166 code of two capital letters such as FR."
        ),
        "/wild_year": "wild_year is 2028; allowed: whole numbers from 1750 to 2027.",
    }


@pytest.mark.parametrize("crowns", [0, -1, 1.5, True, None, float("nan")])
def test_crowns_are_counted_in_whole_numbers(donor: Grower, crowns: Any) -> None:
    make_site(donor)
    found = problems(lambda: make_plant(donor, crowns=crowns))
    said = "missing" if crowns is None else repr(crowns)
    assert found == {"/crowns": f"crowns is {said}; allowed: whole numbers from 1 to 500."}


def test_a_wild_place_belongs_to_a_wild_plant(donor: Grower) -> None:
    make_site(donor)
    assert problems(lambda: make_plant(donor, origin="cultivated", wild_country="TH", wild_year=1998)) == {
        "/wild_country": "wild_country is 'TH'; allowed: nothing, unless origin is wild.",
        "/wild_year": "wild_year is 1998; allowed: nothing, unless origin is wild.",
    }


# --- taxon ---


def test_group_and_habit_come_from_the_taxon(donor: Grower) -> None:
    plant = make_plant(donor, taxon=make_taxon(group="lotos", diel="night"))
    assert (plant.group, plant.diel) == ("lotos", "night")


def test_the_habit_may_differ_from_the_taxon(donor: Grower) -> None:
    plant = make_plant(donor, taxon=make_taxon(group="lotos", diel="night"), diel="day")
    assert (plant.group, plant.diel) == ("lotos", "day")


def test_a_group_that_contradicts_the_taxon_is_refused(donor: Grower) -> None:
    taxon = make_taxon(group="lotos", diel="night")
    make_site(donor)
    allowed = "lotos, the group of Nymphaea 'Invented'"
    assert problems(lambda: make_plant(donor, taxon=taxon, group="hardy")) == {
        "/group": f"group is 'hardy'; allowed: {allowed}."
    }
    plant = make_plant(donor, taxon=taxon)
    found = problems(lambda: plant_update(actor=donor, plant=plant, group="hardy"))
    assert found == {"/group": f"group is 'hardy'; allowed: {allowed}."}


def test_another_taxon_brings_its_group_and_habit(donor: Grower) -> None:
    plant = make_plant(donor, group="hardy", diel="day")
    updated = stored(plant_update(actor=donor, plant=plant, taxon=make_taxon(group="lotos", diel="night")))
    assert (updated.group, updated.diel) == ("lotos", "night")


def test_without_its_taxon_a_plant_stays_what_it_was(donor: Grower) -> None:
    plant = make_plant(donor, taxon=make_taxon(group="lotos", diel="night"))
    updated = stored(plant_update(actor=donor, plant=plant, taxon=None))
    assert (updated.taxon, updated.group, updated.diel) == (None, "lotos", "night")


def test_a_stated_habit_outlives_other_changes(donor: Grower) -> None:
    plant = make_plant(donor, taxon=make_taxon(group="lotos", diel="night"), diel="day")
    updated = stored(plant_update(actor=donor, plant=plant, crowns=3))
    assert (updated.diel, updated.crowns) == ("day", 3)


def test_without_a_taxon_the_habit_is_that_of_the_group(donor: Grower) -> None:
    make_taxon(name="Nymphaea subg. Lotos", rank="group", group="lotos", diel="night")
    site = make_site(donor)
    assert plant_create(actor=donor, site=site, group="lotos").diel == "night"
    assert problems(lambda: plant_create(actor=donor, site=site)) == {
        "/group": (
            "group is missing; allowed: hardy, brachyceras, anecphya, lotos, hydrocallis, victoria, nelumbo."
        ),
        "/diel": "diel is missing; allowed: day, night.",
    }


# --- parents ---


def test_parents_may_be_ones_own_plants(donor: Grower) -> None:
    mother, father = make_plant(donor), make_plant(donor)
    seedling = stored(make_plant(donor, seed_parent=mother, pollen_parent=father))
    assert (seedling.seed_parent, seedling.pollen_parent) == (mother, father)
    selfed = make_plant(donor, seed_parent=mother, pollen_parent=mother)
    assert selfed.seed_parent == selfed.pollen_parent == mother


def test_a_plant_of_another_is_a_parent_only_if_it_was_shown(donor: Grower, recipient: Grower) -> None:
    father = make_plant(donor)
    site = make_site(recipient)
    assert problems(lambda: make_plant(recipient, pollen_parent=father)) == {
        "/pollen_parent": (
            "pollen_parent is not a plant you can see; allowed: a plant of yours or one shown to you."
        )
    }
    seedling = plant_create(
        actor=recipient,
        site=site,
        group="hardy",
        diel="day",
        pollen_parent=father,
        shown_plant_ids=[father.pk],
    )
    assert seedling.pollen_parent == father
    kept = plant_update(actor=recipient, plant=seedling, pollen_parent=father, crowns=2)
    assert (kept.pollen_parent, kept.crowns) == (father, 2)


def test_a_hidden_plant_and_one_that_never_was_are_refused_alike(donor: Grower, recipient: Grower) -> None:
    hidden = make_plant(donor)
    make_site(recipient)
    never = Plant(pk=10**9, number="9", grower=donor)
    one = problems(lambda: make_plant(recipient, seed_parent=hidden))
    other = problems(lambda: make_plant(recipient, seed_parent=never))
    assert one == other


def test_a_plant_is_not_its_own_parent(donor: Grower) -> None:
    plant = make_plant(donor, number="P-7")
    assert problems(lambda: plant_update(actor=donor, plant=plant, seed_parent=plant)) == {
        "/seed_parent": (
            "seed_parent is 'P-7', but P-7 would be its own parent (P-7 → P-7); "
            "allowed: a plant that does not descend from P-7."
        )
    }


def test_a_plant_is_not_its_own_grandparent(donor: Grower) -> None:
    plant = make_plant(donor, number="P-7")
    child = make_plant(donor, number="P-9", pollen_parent=plant)
    assert problems(lambda: plant_update(actor=donor, plant=plant, seed_parent=child)) == {
        "/seed_parent": (
            "seed_parent is 'P-9', but P-7 would be its own grandparent (P-7 → P-9 → P-7); "
            "allowed: a plant that does not descend from P-7."
        )
    }


def test_the_shortest_of_two_lines_is_told(donor: Grower) -> None:
    plant = make_plant(donor, number="A")
    child = make_plant(donor, number="B", seed_parent=plant)
    back = make_plant(donor, number="C", seed_parent=child, pollen_parent=plant)
    late = make_plant(donor, number="D", seed_parent=back, pollen_parent=plant)
    found = problems(lambda: plant_update(actor=donor, plant=plant, pollen_parent=late))
    assert "A would be its own grandparent (A → D → A)" in found["/pollen_parent"]


def test_a_circle_through_another_growers_plant_does_not_name_it(donor: Grower, recipient: Grower) -> None:
    plant = make_plant(donor, number="P-7")
    theirs = make_plant(recipient, number="secret")
    Plant.objects.filter(pk=theirs.pk).update(seed_parent=plant)
    found = problems(
        lambda: plant_update(actor=donor, plant=plant, seed_parent=theirs, shown_plant_ids=[theirs.pk])
    )
    assert "P-7 → a plant of another grower → P-7" in found["/seed_parent"]
    assert "secret" not in found["/seed_parent"]


def test_a_pedigree_too_deep_to_follow_is_not_taken_for_free_of_circles(donor: Grower) -> None:
    oldest = youngest = make_plant(donor)
    for _ in range(MOST_GENERATIONS):
        youngest = Plant.objects.create(
            grower=donor,
            site=oldest.site,
            number=f"g{youngest.pk}",
            group="hardy",
            diel="day",
            seed_parent=youngest,
        )
    error = refused(lambda: plant_update(actor=donor, plant=oldest, seed_parent=youngest), Conflict)
    assert str(error) == "This pedigree is deeper than 60 generations; it cannot be changed."


def test_how_deep_a_hidden_pedigree_is_is_not_told(donor: Grower, outsider: Grower) -> None:
    hidden = make_plant(donor)
    for _ in range(MOST_GENERATIONS):
        hidden = Plant.objects.create(
            grower=donor,
            site=hidden.site,
            number=f"g{hidden.pk}",
            group="hardy",
            diel="day",
            seed_parent=hidden,
        )
    plant = make_plant(outsider)
    found = problems(lambda: plant_update(actor=outsider, plant=plant, seed_parent=hidden))
    assert found == problems(lambda: plant_update(actor=outsider, plant=plant, seed_parent=Plant(pk=10**9)))


def test_an_inbred_pedigree_is_followed_once(donor: Grower) -> None:
    """Thirty full-sib generations have 2^30 lines upward and 60 plants."""
    mother, father = first = make_plant(donor), make_plant(donor)
    for generation in range(30):
        mother, father = (
            Plant.objects.create(
                grower=donor,
                site=first[0].site,
                number=f"{generation}{side}",
                group="hardy",
                diel="day",
                seed_parent=mother,
                pollen_parent=father,
            )
            for side in "ab"
        )
    with CaptureQueriesContext(
        connection,
    ) as queries:
        found = problems(lambda: plant_update(actor=donor, plant=first[0], seed_parent=mother))
    assert "would be its own ancestor" in found["/seed_parent"]
    assert len(queries) < 200


# --- whose ---


def test_only_the_owner_changes_a_plant(donor: Grower, outsider: Grower) -> None:
    plant = make_plant(donor)
    assert str(refused(lambda: plant_update(actor=outsider, plant=plant, crowns=2), NotFound)) == (
        "There is no such plant."
    )


def test_a_plant_stands_at_a_site_of_its_grower(donor: Grower, outsider: Grower) -> None:
    site, theirs = make_site(donor), make_site(outsider)
    plant = make_plant(donor, site=site)
    refused(lambda: make_plant(outsider, site=site), NotFound)
    refused(lambda: plant_update(actor=donor, plant=plant, site=theirs), NotFound)
    moved = plant_update(actor=donor, plant=plant, site=make_site(donor, name="glass house"))
    assert moved.site.name == "glass house"


@pytest.mark.parametrize("field", ["grower", "id", "public_id", "created_at", "seed_parent_id"])
def test_a_field_that_is_not_the_growers_to_set_is_no_field(donor: Grower, field: str) -> None:
    plant = make_plant(donor)
    with pytest.raises(TypeError, match=field):
        plant_update(actor=donor, plant=plant, **{field: 1})  # type: ignore[arg-type]
