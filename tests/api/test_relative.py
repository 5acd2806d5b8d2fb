"""Relatives: exact bodies for their owner; of others' plants no more than a pairing shows."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Offer, Pairing
from exchange.selectors import family as module
from growers.models import Grower, Plant
from tests.api.caller import Caller
from tests.exchange.society import make_pairing
from tests.factories import make_offer, make_plant, make_site, make_taxon, make_wanted_cross

pytestmark = pytest.mark.django_db


@pytest.fixture
def shown(donor: Grower, recipient: Grower) -> Pairing:
    """A pairing that shows the recipient a plant of the donor's."""
    given = make_plant(donor, number="SECRET-7", name_as_grown="'Ferry'")
    return make_pairing(make_offer(given), make_wanted_cross(make_plant(recipient)))


def parent_of(plant: Plant, **fields: object) -> dict[str, object]:
    return {"own": True, "id": str(plant.public_id), "number": plant.number, **fields}


def test_a_family_is_told_whole_to_its_owner(donor: Grower, donor_api: Caller) -> None:
    mother = make_plant(donor, name_as_grown="'Dusk'", number="m")
    one = make_plant(donor, seed_parent=mother, number="a", name_as_grown="one")
    two = make_plant(
        donor, seed_parent=mother, number="b", name_as_grown="two", parentage_confidence="controlled"
    )
    plant = make_plant(
        donor, seed_parent=one, pollen_parent=two, direction_known=False, parentage_confidence="tested"
    )
    child = make_plant(donor, pollen_parent=plant, number="c", name_as_grown="three")
    answer = donor_api.get(f"plants/{plant.public_id}/relatives")
    tested = {"parentage_confidence": "tested", "direction_known": False}
    declared = {"parentage_confidence": "declared", "direction_known": True}
    assert answer.status == 200
    assert answer.body == {
        "plant_id": str(plant.public_id),
        # The parents are half sibs: f = 1/8, and by that the child of both is inbred.
        "inbreeding": 0.125,
        "basis": {"clones": 5, "founders": 1},
        "ancestors": [
            {
                "generation": 1,
                "parent_role": "seed_parent",
                "parent_of_id": str(plant.public_id),
                "plant": parent_of(one, name_as_grown="one"),
                **tested,
                "kinship": 0.3125,
            },
            {
                "generation": 1,
                "parent_role": "pollen_parent",
                "parent_of_id": str(plant.public_id),
                "plant": parent_of(two, name_as_grown="two"),
                **tested,
                "kinship": 0.3125,
            },
            {
                "generation": 2,
                "parent_role": "seed_parent",
                "parent_of_id": str(one.public_id),
                "plant": parent_of(mother, name_as_grown="'Dusk'"),
                **declared,
                "kinship": 0.25,
            },
            {
                "generation": 2,
                "parent_role": "seed_parent",
                "parent_of_id": str(two.public_id),
                "plant": parent_of(mother, name_as_grown="'Dusk'"),
                **declared,
                "parentage_confidence": "controlled",
                "kinship": 0.25,
            },
        ],
        "offspring": [
            {
                "generation": 1,
                "parent_role": "pollen_parent",
                "seedling_of_id": str(plant.public_id),
                "plant": parent_of(child, name_as_grown="three"),
                **declared,
                "kinship": 0.2812,
            }
        ],
        "complete": True,
    }


def test_a_plant_shown_in_a_pairing_may_be_named_as_a_parent_and_stays_as_it_was_shown(
    shown: Pairing,
    donor: Grower,
    recipient: Grower,
    donor_api: Caller,
    recipient_api: Caller,
    outsider: Grower,
    outsider_api: Caller,
) -> None:
    theirs = shown.offer.plant
    root = make_plant(donor, name_as_grown="root of it")
    Plant.objects.filter(pk=theirs.pk).update(seed_parent=root)
    body = {"group": "hardy", "diel": "day", "pollen_parent_id": str(theirs.public_id)}
    site = str(shown.wanted_cross.seed_parent.site.public_id)
    made = recipient_api.post("plants", {**body, "site_id": site})
    assert made.status == 201
    told = recipient_api.get(f"plants/{made.body['id']}/relatives")
    (parent,) = told.body["ancestors"]
    assert parent["plant"] == {
        "own": False,
        "id": str(theirs.public_id),
        "number": "",
        "name_as_grown": "'Ferry'",
    }
    assert (told.body["basis"], told.body["inbreeding"]) == ({"clones": 2, "founders": 1}, 0.0)
    assert b"SECRET-7" not in told.response.content and b"root" not in told.response.content
    # The donor hears nothing of the seedling, and of the seedling there is nothing for others.
    assert donor_api.get(f"plants/{theirs.public_id}/relatives").body["offspring"] == []
    for api in (donor_api, outsider_api):
        assert api.get(f"plants/{made.body['id']}/relatives").code == "not_found"
    # Of the plant that was shown, its relatives were not.
    assert recipient_api.get(f"plants/{theirs.public_id}/relatives").status == 404
    # Who was not shown it cannot name it.
    strange = outsider_api.post("plants", {**body, "site_id": str(make_site(outsider).public_id)})
    assert (strange.status, strange.faults) == (422, {"/pollen_parent_id": "not_found"})
    changed = recipient_api.patch(f"plants/{made.body['id']}", {"pollen_parent_id": None})
    assert changed.body["pollen_parent"] is None
    again = recipient_api.patch(f"plants/{made.body['id']}", {"seed_parent_id": str(theirs.public_id)})
    assert again.body["seed_parent"] == {
        "id": str(theirs.public_id),
        "number": "",
        "name_as_grown": "'Ferry'",
    }


def test_of_a_plant_that_was_not_shown_only_that_it_is_anothers(
    donor: Grower, recipient: Grower, recipient_api: Caller
) -> None:
    theirs = make_plant(donor, number="SECRET-7", name_as_grown="hidden one")
    mine = make_plant(recipient)
    Plant.objects.filter(pk=mine.pk).update(seed_parent=theirs)
    told = recipient_api.get(f"plants/{mine.public_id}/relatives")
    (parent,) = told.body["ancestors"]
    assert parent["plant"] == {"own": False, "id": None, "number": "", "name_as_grown": None}
    for secret in (b"SECRET-7", b"hidden", str(theirs.public_id).encode()):
        assert secret not in told.response.content


def test_what_is_contradicted_counts_for_nothing(donor: Grower, donor_api: Caller) -> None:
    plant = make_plant(donor, seed_parent=make_plant(donor), parentage_confidence="disagrees")
    body = donor_api.get(f"plants/{plant.public_id}/relatives").body
    (parent,) = body["ancestors"]
    assert (parent["parentage_confidence"], parent["kinship"]) == ("disagrees", 0.0)
    assert body["basis"] == {"clones": 2, "founders": 2}


def test_two_plants_of_a_cultivar_are_one_clone(donor: Grower, donor_api: Caller) -> None:
    cultivar = make_taxon()
    one, two = make_plant(donor, taxon=cultivar), make_plant(donor, taxon=cultivar)
    plant = make_plant(donor, seed_parent=one, pollen_parent=two)
    body = donor_api.get(f"plants/{plant.public_id}/relatives").body
    # A self of a diploid that is not inbred.
    assert (body["inbreeding"], body["basis"]) == (0.5, {"clones": 2, "founders": 1})


def test_a_huge_pedigree_has_no_figures(
    donor: Grower, donor_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_RECKONED", 1)
    plant = make_plant(donor, seed_parent=make_plant(donor))
    body = donor_api.get(f"plants/{plant.public_id}/relatives").body
    assert (body["inbreeding"], body["ancestors"][0]["kinship"]) == (None, None)
    assert body["basis"] is None


def test_a_family_costs_the_same_however_large(
    shown: Pairing, recipient: Grower, recipient_api: Caller
) -> None:
    plant = make_plant(recipient)
    Plant.objects.filter(pk=plant.pk).update(pollen_parent=Offer.objects.get().plant)
    recipient_api.get("me")
    for expected in (1, 6):
        while Plant.objects.filter(seed_parent=plant).count() < expected:
            make_plant(recipient, seed_parent=plant)
        with CaptureQueriesContext(connection) as captured:
            told = recipient_api.get(f"plants/{plant.public_id}/relatives").body
        assert len(told["offspring"]) == expected
        # the token with its grower, the plant, own plants, others' that they name, who is hidden, those shown
        assert len(captured) == 6
