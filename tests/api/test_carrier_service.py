"""Carrier services over the API: own alone; an offer and a parcel name one."""

from typing import Any

import pytest

from exchange.api.v1.carrier_service import NEW_SERVICE, SERVICE
from exchange.models import CarrierService, Offer, Shipment
from growers.models import Grower
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.parcel import make_sending
from tests.exchange.society import NOON
from tests.factories import make_offer, make_plant

pytestmark = pytest.mark.django_db


def made(api: Caller, **said: Any) -> dict[str, Any]:
    answer = api.post("carrier-services", {"name": "counter", "country": "FR", **said})
    assert answer.status == 201
    body: dict[str, Any] = answer.body
    return body


def test_one_is_made_as_the_document_shows(donor_api: Caller) -> None:
    body = made(donor_api, **NEW_SERVICE)
    assert {**body, "id": SERVICE["id"], "created_at": SERVICE["created_at"]} == SERVICE
    assert donor_api.get("carrier-services").body["results"] == [body]
    assert donor_api.get(f"carrier-services/{body['id']}").body == body
    again = donor_api.post("carrier-services", NEW_SERVICE)
    assert (again.status, again.body["detail"]) == (
        409,
        "You have a carrier service called parcel with a number.",
    )


def test_what_is_left_out_is_as_usual(donor_api: Caller) -> None:
    body = made(donor_api)
    del body["id"], body["created_at"]
    assert body == {
        "name": "counter",
        "country": "FR",
        "weekdays": [],
        "delivers_on_saturday": False,
        "cut_off": None,
        "promised_days_home": None,
        "promised_days_abroad": None,
        "opened_days": [],
        "closed_days": [],
    }


@pytest.mark.parametrize(
    ("said", "status", "faults"),
    [
        ({"cut_off": "16"}, 400, {"/cut_off": "invalid"}),
        ({"cut_off": "16:00Z"}, 400, {"/cut_off": "invalid"}),
        ({"weekdays": ["mon"]}, 400, {"/weekdays/0": "invalid_choice"}),
        ({"promised_days_home": 16}, 400, {"/promised_days_home": "max_value"}),
        ({"closed_days": ["2027-02-29"]}, 400, {"/closed_days/0": "invalid"}),
        ({"country": "XX"}, 422, {"/country": "not_allowed"}),
        (
            {"opened_days": ["2027-08-15"], "closed_days": ["2027-08-15"]},
            422,
            {"/closed_days": "not_allowed"},
        ),
    ],
)
def test_what_does_not_fit_says_where(
    donor_api: Caller, said: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    answer = donor_api.post("carrier-services", {"name": "counter", "country": "FR", **said})
    assert (answer.status, answer.faults) == (status, faults)
    assert not CarrierService.objects.exists()


def test_it_is_changed_and_removed_by_its_grower(
    donor: Grower, donor_api: Caller, outsider_api: Caller
) -> None:
    path = f"carrier-services/{made(donor_api, cut_off='16:00')['id']}"
    offer = make_offer(make_plant(donor))
    Offer.objects.update(carrier_service=CarrierService.objects.get())
    assert outsider_api.patch(path, {"name": "mine"}, if_match="*").status == 404
    changed = donor_api.patch(path, {"cut_off": None, "weekdays": ["monday"]})
    assert (changed.status, changed.body["cut_off"], changed.body["weekdays"]) == (200, None, ["monday"])
    assert donor_api.patch(path, {"country": "DE"}).status == 400
    assert outsider_api.delete(path).status == 404
    assert donor_api.delete(path).status == 204
    offer.refresh_from_db()
    assert (offer.carrier_service, CarrierService.objects.count()) == (None, 0)


def test_an_offer_names_one_of_ones_own(donor: Grower, donor_api: Caller, recipient_api: Caller) -> None:
    own, theirs = made(donor_api)["id"], made(recipient_api)["id"]
    abroad = made(donor_api, name="over the border", country="DE")["id"]
    plant = make_plant(donor)
    body = {"plant_id": str(plant.public_id), "treatment": "dried", "doses": 2}
    offered = donor_api.post("offers", {**body, "carrier_service_id": own})
    assert (offered.status, offered.body["carrier_service_id"]) == (201, own)
    path = f"offers/{offered.body['id']}"
    for other, code in ((theirs, "not_found"), (abroad, "not_allowed")):
        refused = donor_api.patch(path, {"carrier_service_id": other})
        assert (refused.status, refused.faults) == (422, {"/carrier_service_id": code})
    assert donor_api.get(path).body["carrier_service_id"] == own
    assert donor_api.patch(path, {"carrier_service_id": None}).body["carrier_service_id"] is None


def test_a_parcel_shows_its_service_to_the_consignor_alone(
    donor: Grower, recipient: Grower, donor_api: Caller, recipient_api: Caller, clock: MovableClock
) -> None:
    clock.set(NOON)
    sending = make_sending(donor, recipient)
    own = made(donor_api, cut_off="16:00")["id"]
    body = {"agreement_id": str(sending.agreement.public_id)}
    planned = donor_api.post("shipments", {**body, "carrier_service_id": own}).body
    assert planned["carrier_service_id"] == own
    assert recipient_api.get(f"shipments/{planned['id']}").body["carrier_service_id"] is None
    changed = donor_api.patch(f"shipments/{planned['id']}", {"carrier_service_id": None})
    assert (changed.status, changed.body["carrier_service_id"]) == (200, None)
    assert Shipment.objects.get().carrier_service is None
