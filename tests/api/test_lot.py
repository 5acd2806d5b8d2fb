"""Lots through the API: what their grower and a partner read, and what each refusal says."""

from datetime import timedelta
from typing import Any

import pytest

from exchange.models import Lot, Notification
from exchange.services.collection import offer_collect
from exchange.services.due import run_due
from growers import clock as project_clock
from growers.models import Grower, Plant
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain
from tests.exchange.society import FRANCE, NOON, TODAY
from tests.factories import make_plant, make_site

pytestmark = pytest.mark.django_db

OWNERS_ALONE = {"plant_id", "store_id", "zone", "doses", "supply"}


@pytest.fixture
def plant(donor: Grower, clock: MovableClock) -> Plant:
    clock.set(NOON)
    return make_plant(donor, site=make_site(donor, **FRANCE), name_as_grown="'Ferry'")


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, doses=6)


def collected(plant: Plant, api: Caller, **changes: Any) -> dict[str, Any]:
    body = {"plant_id": str(plant.public_id), "flowers_emptied": 2, "collected_hour": 8, **changes}
    made = api.post("lots", body)
    assert made.status == 201, made.body
    return dict(made.body)


def test_a_lot_as_its_grower_reads_it(plant: Plant, donor_api: Caller) -> None:
    made = collected(plant, donor_api, doses=4, netted_before_opening=True)
    lot = Lot.objects.get()
    dates = {name: made.pop(name) for name in ("best_before", "best_before_median", "worth_trying_until")}
    for name in ("created_at", "changed_at", "reckoned_at"):
        assert made.pop(name).startswith("2027-07-01T12:00:")
    assert made == {
        "id": str(lot.public_id),
        "code": lot.code,
        "role": "owner",
        "plant_id": str(plant.public_id),
        "plant_name": "'Ferry'",
        "offer_id": None,
        "state": "drying",
        "treatment": "dried",
        "store_id": str(lot.store.public_id),
        "store": "refrigerator",
        "collected_on": "2027-07-01",
        "collected_hour": 8,
        "zone": "Europe/Paris",
        "flowers_emptied": 2,
        "flower_day": None,
        "netted_before_opening": True,
        "dried_at": None,
        "doses": 4,
        "supply": {"total": 4, "kept_back": 0, "reserved": 0, "sent": 0, "left": 4},
        "doubts": [],
    }
    assert (
        "2027-07-15"
        < dates["best_before"][:10]
        < dates["best_before_median"][:10]
        < dates["worth_trying_until"][:10]
    )


def test_a_partner_reads_dates_and_doubts_and_nothing_of_the_rest(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    agree(bargain.pairing, doses=2)
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    address = f"lots/{lot.public_id}"
    owners, partners = donor_api.get(address).body, recipient_api.get(address).body
    assert {name for name in owners if owners[name] != partners[name]} == OWNERS_ALONE | {"role"}
    assert {partners[name] for name in OWNERS_ALONE} == {None}
    assert [row["id"] for row in recipient_api.get("lots").body["results"]] == [str(lot.public_id)]
    assert outsider_api.get("lots").body["results"] == []
    assert (outsider_api.get(address).status, nobody.get(address).status) == (404, 401)


def test_the_curve_says_what_it_rests_on(plant: Plant, donor_api: Caller, clock: MovableClock) -> None:
    lot = collected(plant, donor_api)
    clock.move(days=4)
    found = donor_api.get(f"lots/{lot['id']}/viability").body
    assert found["basis"][0]["code"] == "prior_only"
    assert found["basis"][0]["detail"].startswith("No test of this lot: how long water-lily pollen lives")
    instants = [point["at"] for point in found["curve"]]
    assert instants == sorted(instants) and instants[0] == "2027-07-01T06:00:00Z"
    medians = [point["viability"]["median"] for point in found["curve"]]
    assert medians == sorted(medians, reverse=True)
    assert found["dates"]["best_before"] == donor_api.get(f"lots/{lot['id']}").body["best_before"]
    assert (
        found["thermal_age_days"]["low"]
        < found["thermal_age_days"]["median"]
        < found["thermal_age_days"]["high"]
    )
    assert (found["doubts"], found["tests"], found["packet"]) == ([], [], None)
    assert [event["kind"] for event in found["events"]] == ["collected"]


def test_a_test_tells_what_it_changed(plant: Plant, donor_api: Caller, clock: MovableClock) -> None:
    lot = collected(plant, donor_api)
    clock.move(days=2)
    body = {
        "method": "stigmatic_fluid",
        "medium": "fluid of the same morning",
        "rule": "tube as long as the grain is wide",
        "replicates": [{"germinated": 60, "counted": 100}, {"germinated": 66, "counted": 100}],
        "rehydrated": True,
    }
    made = donor_api.post(f"lots/{lot['id']}/tests", body)
    assert (made.status, made.body["replicates"], made.body["tested_by_you"]) == (
        201,
        [[60, 100], [66, 100]],
        True,
    )
    (told,) = donor_api.get(f"lots/{lot['id']}/viability").body["tests"]
    assert told["counts_here"] is True
    assert told["viability_before"]["median"] < 0.3 < told["viability_after"]["low"] < 0.63
    assert told["viability_after"]["high"] > 0.63
    assert told["before"] != told["after"]
    refused = donor_api.post(f"lots/{lot['id']}/tests", {**body, "rehydrated": None})
    assert (refused.status, refused.body["errors"][0]["pointer"]) == (422, "/rehydrated")


def test_a_packet_travels_and_its_partner_keeps_its_history(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller, outsider_api: Caller, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing, doses=2)
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    filled = donor_api.post(
        f"lots/{lot.public_id}/packets", {"doses": 2, "agreement_id": str(agreement.public_id)}
    ).body
    donor_api.post(f"lots/{lot.public_id}/packets", {"doses": 1})
    clock.move(days=1)
    assert donor_api.post(f"packets/{filled['id']}/hand-over", {}).body["on_the_way"] is True
    store = recipient_api.post("stores", {"name": "kitchen", "kind": "refrigerator"}).body
    clock.move(days=3)
    come = recipient_api.post(f"packets/{filled['id']}/receive", {"store_id": store["id"]})
    assert (come.status, come.body["held_by_you"], come.body["store_id"]) == (200, True, store["id"])
    theirs = recipient_api.get(f"lots/{lot.public_id}/events").body["results"]
    assert [event["detail"] for event in theirs] == [
        "collected",
        "packet 1 filled, doses: 2",
        "packet 1 handed over",
        "packet 1 received",
    ]
    assert {event["zone"] for event in theirs} == {None}
    everything = donor_api.get(f"lots/{lot.public_id}/events").body["results"]
    assert len(everything) == 5 and {event["zone"] for event in everything} == {"Europe/Paris"}
    here = recipient_api.get(f"lots/{lot.public_id}/viability?packet={filled['id']}").body
    assert here["packet"] == 1
    assert outsider_api.get(f"packets/{filled['id']}").status == 404
    assert [row["number"] for row in recipient_api.get("packets").body["results"]] == [1]


def test_a_partner_reads_what_went_wrong_in_their_notifications(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller, clock: MovableClock
) -> None:
    agree(bargain.pairing, doses=2)
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    clock.move(days=4)
    happened = {"kind": "got_damp"}
    assert donor_api.post(f"stores/{lot.store.public_id}/incident", happened).body == {"lots": 1}
    told = [row for row in recipient_api.get("notifications").body["results"] if row["code"] == "lot_event"]
    assert [(row["about"]["kind"], row["about"]["path"]) for row in told] == [
        ("lot", f"/api/v1/lots/{lot.public_id}")
    ]
    assert told[0]["detail"].endswith("something went wrong: it got damp.")
    run_due(project_clock.now(), 50)
    (doubt,) = recipient_api.get(f"lots/{lot.public_id}").body["doubts"]
    assert doubt["code"] == "wetted"
    assert Notification.objects.filter(kind="lot_event").count() == 1


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ({"flowers_emptied": 0}, 400, "/flowers_emptied"),
        ({"flowers_emptied": "2"}, 400, "/flowers_emptied"),
        ({"flowers_emptied": 2, "viability": 1.0}, 400, "/viability"),
        ({"flowers_emptied": 2, "collected_on": "2027-07-02"}, 422, "/collected_on"),
        ({"flowers_emptied": 2, "store_id": "5e0c9b1a-7d44-4f0e-8c7b-112233445566"}, 422, "/store_id"),
    ],
)
def test_what_does_not_fit_says_where(
    plant: Plant, donor_api: Caller, body: dict[str, Any], status: int, pointer: str
) -> None:
    answer = donor_api.post("lots", {"plant_id": str(plant.public_id), **body})
    assert (answer.status, [each["pointer"] for each in answer.body["errors"]]) == (status, [pointer])
    assert Lot.objects.count() == 0


@pytest.mark.parametrize("beyond", ["0001-01-01T00:00:00+01:00", "9999-12-31T23:59:59-01:00"])
def test_an_instant_beyond_the_calendar_is_refused_as_any_that_cannot_be(
    plant: Plant, donor_api: Caller, beyond: str
) -> None:
    lot = collected(plant, donor_api)
    refused = donor_api.post(
        f"lots/{lot['id']}/incident", {"kind": "switched_off", "hours": 2, "began_at": beyond}
    )
    assert (refused.status, list(refused.faults)) == (422, ["/began_at"])
    late = beyond.startswith("9999")
    since = beyond.replace("+", "%2B")
    assert ids(donor_api, f"lots?updated_since={since}") == ([] if late else [lot["id"]])


def test_lists_are_narrowed(plant: Plant, donor_api: Caller, clock: MovableClock) -> None:
    first = collected(plant, donor_api)
    clock.move(hours=2)
    second = collected(plant, donor_api, treatment="fresh")
    assert ids(donor_api, "lots?state=drying") == [first["id"]]
    assert ids(donor_api, f"lots?plant={plant.public_id}") == sorted([first["id"], second["id"]])
    since = (NOON + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert ids(donor_api, f"lots?updated_since={since}") == [second["id"]]


def ids(api: Caller, address: str) -> list[str]:
    return sorted(row["id"] for row in api.get(address).body["results"])
