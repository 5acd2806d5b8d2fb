"""The history of a lot as EPCIS over HTTP: the same for all who may see the lot, nothing for others."""

import pytest
from jsonschema import Draft202012Validator

from growers.models import Grower
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.epcis_rule import DOCUMENT
from tests.exchange.packed import Packed, make_packed
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def packed(donor: Grower, recipient: Grower, clock: MovableClock) -> Packed:
    clock.set(NOON)
    made = make_packed(donor, recipient)
    made.hand_over()
    made.receive()
    return made


def path(packed: Packed) -> str:
    return f"lots/{packed.lot.public_id}/epcis"


def test_grower_and_partner_read_the_same_document(
    packed: Packed, donor_api: Caller, recipient_api: Caller
) -> None:
    answer = donor_api.get(path(packed))
    assert (answer.status, answer["Content-Type"]) == (200, "application/ld+json")
    assert answer["Content-Disposition"] == f'attachment; filename="lot-{packed.lot.code}.jsonld"'
    assert [fault.message for fault in Draft202012Validator(DOCUMENT).iter_errors(answer.body)] == []
    steps = [event["bizStep"] for event in answer.body["epcisBody"]["eventList"]]
    assert steps == ["commissioning", "packing", "shipping", "receiving"]
    places = {event.get("readPoint", {}).get("id") for event in answer.body["epcisBody"]["eventList"]}
    assert all(place is None or place.startswith("http://testserver/region/") for place in places)
    assert recipient_api.get(path(packed)).response.content == answer.response.content


def test_it_is_the_same_later_and_its_tag_says_so(
    packed: Packed, donor_api: Caller, clock: MovableClock
) -> None:
    answer = donor_api.get(path(packed))
    clock.set(NOON.replace(day=20))
    assert donor_api.get(path(packed)).response.content == answer.response.content
    assert donor_api.get(path(packed), if_none_match=answer["ETag"]).status == 304


def test_others_have_no_such_lot(packed: Packed, outsider_api: Caller, nobody: Caller) -> None:
    refused = outsider_api.get(path(packed))
    assert (refused.status, refused.code) == (404, "not_found")
    assert nobody.get(path(packed)).status == 401


def test_no_handle_or_place_is_in_it(packed: Packed, donor_api: Caller) -> None:
    text = donor_api.get(path(packed)).response.content.decode()
    for secret in (
        "donor",
        "recipient",
        "example.org",
        "48.75",
        "2.25",
        "48.25",
        "11.75",
        "Ferry",
        "secret pond",
    ):
        assert secret not in text
