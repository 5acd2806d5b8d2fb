"""Wanted crosses: a breeder's secret. Exact bodies for their grower, nothing for anybody else."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import WantedCross
from growers.models import Grower, Plant
from tests.api.caller import Caller
from tests.exchange.society import make_pairing
from tests.factories import make_offer, make_plant, make_taxon, make_wanted_cross

pytestmark = pytest.mark.django_db

UNKNOWN = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"


@pytest.fixture
def seed(recipient: Grower) -> Plant:
    return make_plant(recipient, name_as_grown="'Dusk'")


def test_a_cross_is_asked_for(seed: Plant, recipient: Grower, recipient_api: Caller) -> None:
    taxon, own = make_taxon(), make_plant(recipient, name_as_grown="'Dawn'")
    body = {
        "seed_parent_id": str(seed.public_id),
        "pollen_plant_ids": [str(own.public_id)],
        "pollen_taxon_ids": [str(taxon.public_id)],
        "pollen_groups": ["hardy"],
        "traits": ["scented"],
        "flowers": 3,
        "least_chance": 0.05,
        "note": "for scent",
    }
    made = recipient_api.post("wanted-crosses", body)
    wanted = WantedCross.objects.get()
    assert made.status == 201
    assert made.body == {
        "id": str(wanted.public_id),
        "state": "open",
        "seed_parent": {"id": str(seed.public_id), "name": "'Dusk'"},
        "pollen_plants": [{"id": str(own.public_id), "name": "'Dawn'"}],
        "pollen_taxa": [{"id": str(taxon.public_id), "name": "Nymphaea 'Invented'"}],
        "pollen_groups": ["hardy"],
        "traits": ["scented"],
        "flowers": 3,
        "least_chance": 0.05,
        "note": "for scent",
        "created_at": made.body["created_at"],
    }
    assert recipient_api.get(made["Location"]).body == made.body


def test_without_more_it_asks_for_any_pollen(seed: Plant, recipient_api: Caller) -> None:
    made = recipient_api.post("wanted-crosses", {"seed_parent_id": str(seed.public_id)}).body
    assert (made["pollen_plants"], made["pollen_taxa"], made["pollen_groups"]) == ([], [], [])
    assert (made["flowers"], made["least_chance"]) == (1, 0.001)


@pytest.mark.parametrize(
    ("changes", "status", "faults"),
    [
        ({"flowers": 0}, 400, {"/flowers": "min_value"}),
        ({"flowers": 13}, 400, {"/flowers": "max_value"}),
        ({"least_chance": 1.5}, 400, {"/least_chance": "max_value"}),
        ({"pollen_groups": ["rose"]}, 400, {"/pollen_groups/0": "invalid_choice"}),
        ({"pollen_taxon_ids": [UNKNOWN]}, 422, {"/pollen_taxon_ids/0": "not_found"}),
        ({"seed_parent_id": UNKNOWN}, 422, {"/seed_parent_id": "not_found"}),
        ({"traits": ["a\u0007b"]}, 422, {"/traits": "not_allowed"}),
        ({"state": "open"}, 400, {"/state": "unknown_field"}),
    ],
)
def test_a_wrong_one_is_refused_with_its_place(
    seed: Plant, recipient_api: Caller, changes: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = recipient_api.post("wanted-crosses", {"seed_parent_id": str(seed.public_id), **changes})
    assert (refused.status, refused.faults) == (status, faults)
    assert not WantedCross.objects.exists()


def test_a_plant_of_another_can_be_asked_for_only_once_it_was_shown(
    donor: Grower, seed: Plant, recipient_api: Caller
) -> None:
    theirs = make_plant(donor)
    told = []
    for asked in (str(theirs.public_id), UNKNOWN):
        body = {"seed_parent_id": str(seed.public_id), "pollen_plant_ids": [asked]}
        refused = recipient_api.post("wanted-crosses", body, x_request_id="the-same")
        assert (refused.status, refused.faults) == (422, {"/pollen_plant_ids/0": "not_found"})
        told.append(refused.response.content)
    assert told[0] == told[1]
    make_pairing(make_offer(theirs), make_wanted_cross(seed))
    body = {"seed_parent_id": str(seed.public_id), "pollen_plant_ids": [str(theirs.public_id)]}
    assert recipient_api.post("wanted-crosses", body).status == 201


def test_a_plant_that_sets_no_seed_is_refused_at_its_field(recipient: Grower, recipient_api: Caller) -> None:
    barren = make_plant(recipient, seed_fertility="no", fertility_evidence="ten years without a capsule")
    refused = recipient_api.post("wanted-crosses", {"seed_parent_id": str(barren.public_id)})
    assert (refused.status, refused.faults) == (422, {"/seed_parent_id": "not_allowed"})


def test_states_follow_each_other_as_allowed(seed: Plant, recipient_api: Caller) -> None:
    path = recipient_api.post("wanted-crosses", {"seed_parent_id": str(seed.public_id)})["Location"]
    states = []
    for name in ("pause", "reopen", "close", "close", "reopen"):
        answer = recipient_api.call("POST", f"{path}/{name}")
        states.append((answer.status, answer.body.get("state") or answer.code))
    assert states == [(200, "paused"), (200, "open"), (200, "closed"), (200, "closed"), (409, "conflict")]
    assert recipient_api.get("wanted-crosses?state=open").body["results"] == []
    assert len(recipient_api.get("wanted-crosses?state=closed").body["results"]) == 1


def test_a_list_costs_the_same_however_long(seed: Plant, recipient: Grower, recipient_api: Caller) -> None:
    taxon = make_taxon()
    recipient_api.get("me")
    counts = []
    for expected in (10, 200):
        while WantedCross.objects.count() < expected:
            make_wanted_cross(seed, pollen_plants=[seed], pollen_taxa=[taxon])
        with CaptureQueriesContext(connection) as captured:
            assert len(recipient_api.get("wanted-crosses?limit=100").body["results"]) == min(expected, 100)
        counts.append(len(captured))
    assert counts == [5, 5]  # the token with its grower, who is hidden, the crosses, their plants, their taxa
