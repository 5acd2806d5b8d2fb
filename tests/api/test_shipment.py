"""Parcels through the API: planned and posted by the donor, received by the recipient, nothing to others."""

from datetime import UTC, datetime
from typing import Any

import pytest

from exchange.api.v1.box import BOX
from exchange.models import Shipment
from exchange.services.due import run_due
from exchange.services.shipment import shipment_plan
from growers import clock as project_clock
from growers.models import Grower
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.bargain import state_papers
from tests.exchange.parcel import Sending, make_sending
from tests.exchange.refusal import rows
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


@pytest.fixture(autouse=True)
def _tokens_in_use(donor_api: Caller, recipient_api: Caller, outsider_api: Caller) -> None:
    """The first use of a token is noted, which is no change by what is refused later."""
    for api in (donor_api, recipient_api, outsider_api):
        api.get("me")


def agreement_id(sending: Sending) -> dict[str, Any]:
    return {"agreement_id": str(sending.agreement.public_id)}


def planned(sending: Sending) -> str:
    """The address of a planned parcel."""
    made = shipment_plan(actor=sending.donor, agreement=sending.agreement)
    return f"/api/v1/shipments/{made.public_id}"


def test_a_parcel_is_planned_and_read_by_both(
    sending: Sending, donor_api: Caller, recipient_api: Caller
) -> None:
    body = {**agreement_id(sending), "contents": ["silica_gel"], "carrier": "the post"}
    made = donor_api.post("shipments", body)
    assert made.status == 201
    assert made["Location"] == f"/api/v1/shipments/{made.body['id']}"
    cold = made.body["hours_cold"]
    assert 12.0 < cold < 36.0
    assert made.body == {
        "id": str(Shipment.objects.get().public_id),
        "role": "consignor",
        "leg": "direct",
        "agreement_id": str(sending.agreement.public_id),
        "state": "planned",
        "packets": [str(sending.packet.public_id)],
        "packing": "cold_box",
        "box": BOX,
        "hours_cold": cold,
        "carrier": "the post",
        "tracking_number": "",
        "carrier_service_id": None,
        "posts_on_saturday": False,
        "contents": [
            {
                "code": "silica_gel",
                "detail": "In the tube with the pollen, so that dew cannot wet it.",
                "parameters": {"source": "common practice, no source", "checked_on": "2026-11-25"},
            }
        ],
        "origin_country": "FR",
        "destination_country": "DE",
        "dispatched_at": None,
        "half_on": "2027-07-12",
        "late_on": "2027-07-14",
        "lost_chance": 0.01,
        "recipient_half_on": "2027-07-12",
        "recipient_late_on": "2027-07-14",
        "plan": {
            "precision": "days",
            "post_on": "2026-06-18",
            "not_later_than": "2026-06-25",
            "hand_over_until": "2026-06-25T22:00:00Z",
            "decided_by": {"code": "transit", "detail": "the post, if it is slow", "parameters": {}},
            "flowers_from": None,
            "flowers_until": None,
        },
        "business_days": None,
        "condition": None,
        "ended_at": None,
        "created_at": made.body["created_at"],
        "changed_at": made.body["created_at"],
    }
    assert donor_api.get(made["Location"]).body == made.body
    assert recipient_api.get(made["Location"]).body == {**made.body, "role": "consignee"}


def test_a_parcel_goes_its_way(
    sending: Sending, donor_api: Caller, recipient_api: Caller, clock: MovableClock
) -> None:
    address = planned(sending)
    assert donor_api.patch(address, {"packing": "envelope"}).body["hours_cold"] == 0.0
    assert donor_api.post(f"{address}/pack").body["state"] == "packed"
    assert donor_api.post(f"{address}/call-off").body["state"] == "called_off"
    address = planned(sending)
    sent = donor_api.post(f"{address}/dispatch", {})
    assert (sent.status, sent.body["state"], sent.body["plan"]) == (200, "dispatched", None)
    assert sent.body["dispatched_at"].startswith("2027-07-01T12:")
    assert recipient_api.post(f"{address}/hold").body["state"] == "held"
    clock.move(days=6)
    come = recipient_api.post(
        f"{address}/receive", {"store_id": str(sending.home.public_id), "condition": "crushed"}
    )
    assert come.status == 200
    names = ("role", "state", "business_days", "condition")
    assert [come.body[name] for name in names] == ["consignee", "received", 2, "crushed"]
    assert come.body["ended_at"].startswith("2027-07-07T12:")
    assert donor_api.get(address).body == {**come.body, "role": "consignor"}


@pytest.mark.parametrize("end", ["refused", "lost", "returned"])
def test_a_parcel_ends_otherwise(
    sending: Sending, donor_api: Caller, recipient_api: Caller, end: str
) -> None:
    address = planned(sending)
    donor_api.post(f"{address}/dispatch", {})
    ended = recipient_api.post(f"{address}/{end}")
    assert (ended.status, ended.body["state"]) == (200, end)
    assert ended.body["ended_at"] is not None


def test_lists_hold_what_one_sends_and_gets(
    sending: Sending, donor_api: Caller, recipient_api: Caller, outsider_api: Caller, clock: MovableClock
) -> None:
    address = planned(sending)
    for api, count in ((donor_api, 1), (recipient_api, 1), (outsider_api, 0)):
        assert len(api.get("shipments").body["results"]) == count
    assert donor_api.get("shipments?state=planned").body["results"] == [donor_api.get(address).body]
    assert donor_api.get("shipments?state=lost").body["results"] == []
    since = "shipments?updated_since=2027-07-02T00:00:00Z"
    assert donor_api.get(since).body["results"] == []
    clock.move(days=1)
    donor_api.post(f"{address}/pack")
    assert len(donor_api.get(since).body["results"]) == 1


def test_that_it_was_asked_for_is_the_recipients_alone(
    sending: Sending, donor_api: Caller, recipient_api: Caller, clock: MovableClock
) -> None:
    sending.dispatch()
    clock.set(datetime(2027, 7, 12, 16, tzinfo=UTC))
    run_due(project_clock.now(), 50)
    address = f"agreements/{sending.agreement.public_id}"
    theirs, own = (
        {event["kind"] for event in api.get(address).body["events"]} for api in (recipient_api, donor_api)
    )
    assert theirs - own == {"has_it_come"}


# --- refusals ---


def test_others_find_no_parcel(sending: Sending, outsider_api: Caller, nobody: Caller) -> None:
    address = planned(sending)
    before = rows()
    assert outsider_api.get(address).status == 404
    assert outsider_api.call("PATCH", address, {"carrier": "me"}, if_match="*").status == 404
    for act in ("pack", "hold", "refused", "lost", "returned"):
        assert outsider_api.post(f"{address}/{act}").status == 404
    assert outsider_api.post(f"{address}/dispatch", {}).status == 404
    assert nobody.get(address).status == 401
    refused = outsider_api.post("shipments", agreement_id(sending))
    assert (refused.status, refused.faults) == (422, {"/agreement_id": "not_found"})
    assert rows() == before


def test_who_may_see_it_and_not_do_it_is_told_so(
    sending: Sending, donor_api: Caller, recipient_api: Caller
) -> None:
    address = planned(sending)
    before = rows()
    for path, body in ((f"{address}/pack", None), (f"{address}/dispatch", {})):
        refused = recipient_api.post(path, body)
        assert (refused.status, refused.body["detail"]) == (409, "Only the donor can do this.")
    assert rows() == before
    donor_api.post(f"{address}/dispatch", {})
    before = rows()
    home = {"store_id": str(sending.packet.store.public_id)}  # type: ignore[union-attr]
    refused = donor_api.post(f"{address}/receive", home)
    assert refused.status == 409
    assert refused.body["detail"] == "Only whom the parcel is for says that it has come."
    refused = recipient_api.post(f"{address}/receive", home)
    assert (refused.status, refused.faults) == (422, {"/store_id": "not_found"})
    assert rows() == before


def test_what_a_state_forbids_is_a_conflict(sending: Sending, donor_api: Caller) -> None:
    address = planned(sending)
    before = rows()
    refused = donor_api.post(f"{address}/lost")
    assert (refused.status, refused.code) == (409, "conflict")
    assert refused.body["detail"] == (
        "The parcel is planned and cannot become lost; allowed: called_off, dispatched, packed."
    )
    assert donor_api.post("shipments", agreement_id(sending)).body["detail"] == (
        "No packet of it waits to be sent; fill one first."
    )
    assert rows() == before


def test_papers_come_before_the_parcel(donor: Grower, recipient: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    sending = make_sending(donor, recipient, papers=False)
    api, address = caller(donor), planned(sending)
    api.get(address)  # the first use of a token is noted
    before = rows()
    refused = api.post(f"{address}/dispatch", {})
    assert (refused.status, refused.code) == (409, "conflict")
    codes = [each["code"] for each in refused.body["errors"]]
    assert codes == ["donor_statement_missing", "recipient_statement_missing"]
    assert rows() == before
    state_papers(sending.agreement)
    assert api.post(f"{address}/dispatch", {}).status == 200


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        ({"packing": "crate"}, {"/packing": "invalid_choice"}),
        ({"contents": ["blades"]}, {"/contents/0": "invalid_choice"}),
        ({"carrier": "a" * 61}, {"/carrier": "max_length"}),
        ({"posts_on_saturday": "yes"}, {"/posts_on_saturday": "invalid"}),
        ({"state": "lost"}, {"/state": "unknown_field"}),
    ],
)
def test_what_does_not_fit_is_named(
    sending: Sending, donor_api: Caller, body: dict[str, Any], faults: dict[str, str]
) -> None:
    address = planned(sending)
    before = rows()
    refused = donor_api.patch(address, body)
    assert (refused.status, refused.faults) == (400, faults)
    assert rows() == before


def test_an_instant_ahead_is_refused(sending: Sending, donor_api: Caller) -> None:
    address = planned(sending)
    before = rows()
    refused = donor_api.post(f"{address}/dispatch", {"occurred_at": "2027-07-02T12:00:00Z"})
    assert (refused.status, refused.faults) == (422, {"/occurred_at": "not_allowed"})
    assert rows() == before
