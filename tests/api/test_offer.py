"""Offers: exact bodies for their grower, states as allowed, nothing for anybody else."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.api.v1.box import BOX
from exchange.models import Lot, Offer
from growers.models import Change, Grower, Plant
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.factories import make_offer, make_offer_in_hand, make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(donor: Grower, clock: MovableClock) -> Plant:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))
    return make_plant(donor, name_as_grown="'Ferry'")


def new(plant: Plant, **changes: Any) -> dict[str, Any]:
    return {"plant_id": str(plant.public_id), "treatment": "dried", "doses": 4, **changes}


def in_hand(plant: Plant, **changes: Any) -> dict[str, Any]:
    lot = {"kind": "in_hand", "collected_on": "2027-06-28", "store": "refrigerator"}
    return new(plant, **lot, **changes)


def test_an_offer_on_request_is_made(plant: Plant, donor_api: Caller) -> None:
    made = donor_api.post("offers", new(plant, countries=["DE"], note="in June"))
    offer = Offer.objects.get()
    assert made.status == 201
    assert made.body == {
        "id": str(offer.public_id),
        "plant_id": str(plant.public_id),
        "plant_name": "'Ferry'",
        "kind": "on_request",
        "state": "open",
        "treatment": "dried",
        "packing": "cold_box",
        "box": BOX,
        "doses": 4,
        "doses_per_flower": 1,
        "countries": ["DE"],
        "carrier_service_id": None,
        "posts_on_saturday": False,
        "collected_before_cut_off": True,
        "note": "in June",
        "terms": [],
        "supply": {"total": 4, "kept_back": 0, "reserved": 0, "sent": 0, "left": 4},
        "created_at": made.body["created_at"],
        "confirmed_at": made.body["confirmed_at"],
        "still_true_asked_at": None,
        "lots": [],
    }
    assert made.body["created_at"].startswith("2027-07-01T12:00:") and made.body["created_at"].endswith("Z")
    assert made.body["confirmed_at"].startswith("2027-07-01T12:00:")
    read = donor_api.get(made["Location"])
    assert (read.body, read["ETag"]) == (made.body, made["ETag"])
    assert Change.objects.filter(kind="offer", subject_id=offer.pk).exists()


def test_an_offer_in_hand_has_its_lot(plant: Plant, donor_api: Caller) -> None:
    made = donor_api.post("offers", in_hand(plant))
    lot = Lot.objects.get()
    assert made.body["kind"] == "in_hand"
    assert made.body["lots"] == [
        {
            "id": str(lot.public_id),
            "collected_on": "2027-06-28",
            "treatment": "dried",
            "code": lot.code,
            "store": "refrigerator",
            "doses": 4,
        }
    ]


def test_the_same_key_makes_one_offer(plant: Plant, donor_api: Caller) -> None:
    first = donor_api.post("offers", in_hand(plant), idempotency_key="key-number-1")
    again = donor_api.post("offers", in_hand(plant), idempotency_key="key-number-1")
    assert (again.status, again.body) == (201, first.body)
    other = donor_api.post("offers", in_hand(plant, doses=5), idempotency_key="key-number-1")
    assert (other.status, other.code) == (422, "key_reused")
    assert donor_api.call("POST", "offers", in_hand(plant)).code == "idempotency_key_missing"
    assert (Offer.objects.count(), Lot.objects.count()) == (1, 1)


@pytest.mark.parametrize(
    ("changes", "status", "faults"),
    [
        ({"kind": "in_hand"}, 422, {"/collected_on": "missing", "/store": "missing"}),
        ({"collected_on": "2027-06-28"}, 422, {"/collected_on": "not_with_kind"}),
        ({"treatment": "frozen"}, 422, {"/treatment": "not_allowed"}),
        ({"doses": 0}, 400, {"/doses": "min_value"}),
        ({"doses": 1000}, 400, {"/doses": "max_value"}),
        ({"countries": ["XX"]}, 422, {"/countries": "not_allowed"}),
        ({"state": "closed", "grower": 1}, 400, {"/grower": "unknown_field", "/state": "unknown_field"}),
    ],
)
def test_a_wrong_offer_is_refused_with_its_place(
    plant: Plant, donor_api: Caller, changes: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post("offers", new(plant, **changes))
    assert (refused.status, refused.faults) == (status, faults)
    assert not Offer.objects.exists()


def test_a_plant_without_pollen_and_a_lot_of_tomorrow_are_refused_at_their_fields(
    donor: Grower, plant: Plant, donor_api: Caller
) -> None:
    barren = make_plant(donor, pollen_fertility="no", fertility_evidence="no anther opens")
    assert donor_api.post("offers", new(barren)).faults == {"/plant_id": "not_allowed"}
    late = in_hand(plant) | {"collected_on": "2027-07-02"}
    assert donor_api.post("offers", late).faults == {"/collected_on": "not_allowed"}


def test_states_follow_each_other_as_allowed(plant: Plant, donor_api: Caller) -> None:
    path = donor_api.post("offers", new(plant))["Location"]

    def act(name: str) -> tuple[int, str]:
        answer = donor_api.call("POST", f"{path}/{name}")
        return answer.status, answer.body.get("state") or answer.code

    assert act("reopen") == (200, "open")
    assert act("pause") == (200, "paused")
    assert act("pause") == (200, "paused")
    assert act("reopen") == (200, "open")
    assert act("close") == (200, "closed")
    assert act("reopen") == (409, "conflict")
    assert act("pause") == (409, "conflict")
    assert donor_api.get(path).body["state"] == "closed"


def test_another_neither_reads_nor_moves_it(
    plant: Plant, recipient: Grower, donor_api: Caller, recipient_api: Caller, nobody: Caller
) -> None:
    path = donor_api.post("offers", new(plant))["Location"]
    assert recipient_api.get("offers").body["results"] == []
    for method, address in (("GET", ""), ("POST", "/pause"), ("POST", "/reopen"), ("POST", "/close")):
        refused = recipient_api.call(method, f"{path}{address}")
        assert (refused.status, refused.code) == (404, "not_found")
        assert nobody.call(method, f"{path}{address}").status == 401
    theirs = recipient_api.post("offers", new(plant))
    assert (theirs.status, theirs.faults) == (422, {"/plant_id": "not_found"})
    assert Offer.objects.get().state == "open"


def test_offers_are_found_by_state_and_plant(donor: Grower, plant: Plant, donor_api: Caller) -> None:
    other = make_plant(donor)
    mine, second = make_offer(plant), make_offer(other)
    donor_api.call("POST", f"offers/{second.public_id}/pause")

    def found(query: str) -> list[str]:
        return [each["id"] for each in donor_api.get(f"offers?{query}").body["results"]]

    assert found("") == [str(second.public_id), str(mine.public_id)]
    assert found("state=open") == found(f"plant={plant.public_id}") == [str(mine.public_id)]
    assert donor_api.get("offers?state=gone").faults == {"state": "invalid_choice"}
    assert donor_api.get("offers?grower=1").faults == {"grower": "unknown_field"}


def test_a_list_costs_the_same_however_long(plant: Plant, donor_api: Caller) -> None:
    donor_api.get("me")
    counts = []
    for expected in (10, 200):
        while Offer.objects.count() < expected:
            make_offer_in_hand(plant, datetime(2027, 6, 28, tzinfo=UTC).date())
        with CaptureQueriesContext(connection) as captured:
            assert len(donor_api.get("offers?limit=100").body["results"]) == min(expected, 100)
        counts.append(len(captured))
    # the token with its grower, the offers with plant and supply, the lots, their supplies, reservations
    assert counts == [5, 5]


def test_an_own_box_is_read_as_it_was_measured(plant: Plant, donor_api: Caller) -> None:
    box = {"wall": "vacuum_panel", "wall_cm": 2.0, "inside_cm": [20.0, 20.0, 20.0], "ice_kg": 2.0}
    made = donor_api.post("offers", new(plant, packing="own_box", box=box))
    assert (made.status, made.body["packing"], made.body["box"]) == (201, "own_box", box)
    path = f"offers/{made.body['id']}"
    refused = donor_api.patch(path, {"box": {**box, "ice_kg": 6}})
    assert (refused.status, refused.faults) == (422, {"/box/ice_kg": "not_allowed"})
    refused = donor_api.patch(path, {"box": {**box, "ice_kg": "2"}})
    assert (refused.status, refused.faults) == (400, {"/box/ice_kg": "invalid"})
    assert donor_api.get(path).body["box"] == box
    assert donor_api.patch(path, {"packing": "cold_box"}).body["box"] == BOX
