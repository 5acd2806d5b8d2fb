"""Wanted crosses: a seed parent of one's own; what is refused changes nothing."""

from typing import Any

import pytest

from exchange.models import WantedCross
from exchange.services.wanted_cross import (
    wanted_cross_close,
    wanted_cross_create,
    wanted_cross_pause,
    wanted_cross_reopen,
)
from growers.errors import NotFound
from growers.models import Change, Grower, Plant
from growers.services.grower import grower_close
from tests.exchange.refusal import problems, refused, rows
from tests.factories import make_plant, make_taxon, make_wanted_cross

pytestmark = pytest.mark.django_db

GROUPS = "hardy, brachyceras, anecphya, lotos, hydrocallis, victoria, nelumbo"


@pytest.fixture
def seed_parent(recipient: Grower) -> Plant:
    return make_plant(recipient, name_as_grown="'Dusk'")


def test_a_wanted_cross_of_anything(seed_parent: Plant) -> None:
    wanted = WantedCross.objects.get(
        pk=wanted_cross_create(actor=seed_parent.grower, seed_parent=seed_parent).pk
    )
    assert (wanted.seed_parent_id, wanted.state, wanted.flowers) == (seed_parent.pk, "open", 1)
    assert (wanted.least_chance, wanted.pollen_groups, wanted.traits) == (0.001, [], [])
    assert (wanted.pollen_plants.count(), wanted.pollen_taxa.count()) == (0, 0)


def test_a_wanted_cross_keeps_what_is_asked_for(seed_parent: Plant, donor: Grower) -> None:
    asked, taxon = make_plant(donor), make_taxon()
    made = make_wanted_cross(
        seed_parent,
        pollen_plants=[asked],
        pollen_taxa=[taxon],
        pollen_groups=("hardy", "lotos"),
        traits=["blue"],
        flowers=12,
        least_chance=1.0,
        note=" for the small pond",
    )
    wanted = WantedCross.objects.get(pk=made.pk)
    assert list(wanted.pollen_plants.all()) == [asked]
    assert list(wanted.pollen_taxa.all()) == [taxon]
    assert (wanted.pollen_groups, wanted.traits) == (["hardy", "lotos"], ["blue"])
    assert (wanted.flowers, wanted.least_chance, wanted.note) == (12, 1.0, "for the small pond")


def test_a_wanted_cross_is_noted_once(seed_parent: Plant) -> None:
    before = Change.objects.count()
    wanted = make_wanted_cross(seed_parent)
    (noted,) = Change.objects.order_by("pk")[before:]
    assert (noted.kind, noted.subject_id) == ("wanted_cross", wanted.pk)


# --- whose it is ---


def test_anothers_seed_parent_does_not_exist(seed_parent: Plant, donor: Grower, outsider: Grower) -> None:
    for actor in (donor, outsider):
        error = refused(
            lambda actor=actor: wanted_cross_create(actor=actor, seed_parent=seed_parent),  # type: ignore[misc]
            NotFound,
        )
        assert error.detail == "There is no such plant."


@pytest.mark.parametrize("service", [wanted_cross_pause, wanted_cross_reopen, wanted_cross_close])
def test_anothers_wanted_cross_does_not_exist(seed_parent: Plant, donor: Grower, service: Any) -> None:
    wanted = make_wanted_cross(seed_parent)
    error = refused(lambda: service(actor=donor, wanted_cross=wanted), NotFound)
    assert error.detail == "There is no such wanted cross."


def test_a_closed_account_wants_nothing(seed_parent: Plant) -> None:
    grower_close(actor=seed_parent.grower)
    refused(lambda: make_wanted_cross(seed_parent), NotFound)


# --- what is refused ---


def test_a_plant_that_sets_no_seed(recipient: Grower) -> None:
    sterile = make_plant(recipient, name_as_grown="'Mule'", seed_fertility="no")
    detail = """seed_parent is "'Mule'"; allowed: a plant that sets seed."""
    assert problems(lambda: make_wanted_cross(sterile)) == {"/seed_parent": detail}


def test_a_plant_that_only_lacks_pollen_may_be_the_seed_parent(recipient: Grower) -> None:
    make_wanted_cross(make_plant(recipient, pollen_fertility="no", seed_fertility="poor"))
    assert WantedCross.objects.count() == 1


REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "no-flower": ({"flowers": 0}, "flowers is 0; allowed: whole numbers from 1 to 12."),
    "too-many-flowers": ({"flowers": 13}, "flowers is 13; allowed: whole numbers from 1 to 12."),
    "below-no-chance": ({"least_chance": -0.1}, "least_chance is -0.1; allowed: 0 to 1."),
    "above-certainty": ({"least_chance": 1.01}, "least_chance is 1.01; allowed: 0 to 1."),
    "not-a-number": ({"least_chance": float("nan")}, "least_chance is nan; allowed: 0 to 1."),
    "no-such-group": ({"pollen_groups": ["rosa"]}, f"pollen_groups is 'rosa'; allowed: {GROUPS}."),
    "group-not-in-a-list": (
        {"pollen_groups": "hardy"},
        "pollen_groups is 'hardy'; allowed: a list of at most 30 words.",
    ),
    "empty-trait": ({"traits": [""]}, "traits is missing; allowed: words of 1 to 60 characters."),
    "long-note": ({"note": "n" * 301}, "allowed: at most 300 characters."),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_wanted_cross_that_is_refused(seed_parent: Plant, case: str) -> None:
    fields, sentence = REFUSED[case]
    (pointer,) = [f"/{name}" for name in fields]
    found = problems(lambda: make_wanted_cross(seed_parent, **fields))
    assert list(found) == [pointer]
    assert found[pointer].endswith(sentence)


def test_an_unknown_field_is_a_callers_mistake(seed_parent: Plant) -> None:
    before = rows()
    with pytest.raises(TypeError, match="not fields of WantedCross: state"):
        make_wanted_cross(seed_parent, state="closed")  # type: ignore[call-arg]
    assert rows() == before
