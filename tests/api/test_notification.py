"""Notifications: each grower reads their own, key by key; to all others there are none."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Notification, Pairing
from exchange.services.notification import pairings_tell
from growers.models import Grower
from growers.services.grower import grower_update
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, SECRET_NAME, Society, make_pairing, make_society
from tests.factories import make_offer_in_hand

pytestmark = pytest.mark.django_db

REGION = {
    "level": "climate_band",
    "part_of_the_world": "Europe",
    "country": None,
    "subdivision": None,
    "climate_band": "northern temperate",
    "cell_latitude_deg": None,
    "cell_longitude_deg": None,
}
PLAN = {
    "precision": "days",
    "post_on": "2026-06-18",
    "not_later_than": "2026-06-25",
    "chance_each_flower": 0.12,
}
POSTING = (
    "To post: best on Thu 18 June, not later than Thu 25 June; each flower about 1 in 8 (12 %, likely range"
    " 3.0 % to 31 %); with 4 flowers about 1 in 3."
)


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@pytest.fixture
def pairing(society: Society) -> Pairing:
    """A pairing that both were told of."""
    pairing = make_pairing(society.offer, society.wanted)
    pairings_tell(fresh=[pairing], gone=[])
    return pairing


def of(grower: Grower) -> Notification:
    return Notification.objects.get(grower=grower)


def instant(moment: Any) -> str:
    return str(moment.isoformat().replace("+00:00", "Z"))


def told(grower: Grower, pairing: Pairing, **own: Any) -> dict[str, Any]:
    """What a grower reads of the pairing when it is new."""
    row = of(grower)
    about = {
        "kind": "pairing",
        "id": str(pairing.public_id),
        "path": f"/api/v1/pairings/{pairing.public_id}",
    }
    return {
        "id": str(row.public_id),
        "code": "pairing_proposed",
        "about": about,
        "told_at": instant(row.created_at),
        "read_at": None,
        **own,
    }


def test_each_side_reads_exactly_its_own(
    donor: Grower, recipient: Grower, pairing: Pairing, donor_api: Caller, recipient_api: Caller
) -> None:
    answer = donor_api.get("notifications")
    assert answer.body["results"] == [
        told(
            donor,
            pairing,
            detail="Someone in this region: Europe, northern temperate, would like pollen of your 'Ferry'. "
            + POSTING,
            parameters={"plant": "'Ferry'", "region": REGION, **PLAN},
        )
    ]
    for secret in (SECRET_NAME, "recipient", "Germany", '"DE"'):
        assert secret not in answer.response.content.decode()
    mine = told(
        recipient,
        pairing,
        detail=f"donor (Europe, northern temperate) could send pollen of 'Ferry' for your {SECRET_NAME}. "
        + POSTING,
        parameters={
            "plant": "'Ferry'",
            "donor": "donor",
            "region": REGION,
            "seed_parent": SECRET_NAME,
            **PLAN,
        },
    )
    assert recipient_api.get("notifications").body["results"] == [mine]
    one = recipient_api.get(f"notifications/{mine['id']}")
    assert one.body == mine
    assert recipient_api.get(mine["about"]["path"]).status == 200
    assert recipient_api.get(f"notifications/{mine['id']}", if_none_match=one["ETag"]).status == 304


def test_it_is_worded_in_the_language_of_its_grower(
    recipient: Grower, pairing: Pairing, recipient_api: Caller
) -> None:
    grower_update(actor=recipient, language="de")
    (german,) = recipient_api.get("notifications", accept_language="en").body["results"]
    # Until there is a catalogue, the library's names of days and months are what is German.
    assert "25 Juni" in german["detail"]
    assert "25 June" not in german["detail"]
    assert german["parameters"]["post_on"] == "2026-06-18"


def test_to_all_others_there_are_none(
    recipient: Grower, pairing: Pairing, donor_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    id_ = of(recipient).public_id
    unknown = pairing.public_id
    assert outsider_api.get("notifications").body["results"] == []
    for api in (outsider_api, donor_api):
        before = rows()["exchange_notification"]
        for method, address in (("GET", "notifications/{}"), ("POST", "notifications/{}/read")):
            refused = api.call(method, address.format(id_), x_request_id="the-same")
            assert (refused.status, refused.code) == (404, "not_found")
            same = api.call(method, address.format(unknown), x_request_id="the-same").body
            assert refused.body == {**same, "instance": refused.body["instance"]}
        assert outsider_api.call("POST", "notifications/read", {}).body == {"unread": 0}
        assert rows()["exchange_notification"] == before
    for method, address in (("GET", "notifications"), ("POST", "notifications/read")):
        assert nobody.call(method, address, {} if method == "POST" else None).status == 401
    reading = caller(recipient, "read")
    assert reading.call("POST", f"notifications/{id_}/read").code == "scope_missing"
    assert of(recipient).read_at is None


def test_reading_is_said_once_and_the_first_time_counts(
    donor: Grower, recipient: Grower, pairing: Pairing, recipient_api: Caller, clock: MovableClock
) -> None:
    address = f"notifications/{of(recipient).public_id}"
    clock.set(NOON + timedelta(hours=1))
    first = recipient_api.call("POST", f"{address}/read")
    read_at = of(recipient).read_at
    assert read_at is not None
    assert (first.status, first.body["read_at"]) == (200, instant(read_at))
    clock.set(NOON + timedelta(hours=2))
    assert recipient_api.call("POST", f"{address}/read").body == first.body
    assert recipient_api.get(address).body == first.body
    assert (of(recipient).read_at, of(donor).read_at) == (read_at, None)


def test_all_are_read_up_to_the_newest_that_was_shown(
    society: Society, recipient: Grower, pairing: Pairing, recipient_api: Caller, clock: MovableClock
) -> None:
    (shown,) = recipient_api.get("notifications?state=unread").body["results"]
    clock.set(NOON + timedelta(hours=1))
    another = make_offer_in_hand(society.given, NOON.date() - timedelta(days=1), countries=["DE"])
    pairings_tell(fresh=[make_pairing(another, society.wanted)], gone=[])
    told_until = {"told_until": shown["told_at"]}
    assert recipient_api.call("POST", "notifications/read", told_until).body == {"unread": 1}
    assert recipient_api.call("POST", "notifications/read", told_until).body == {"unread": 1}
    (left,) = recipient_api.get("notifications?state=unread").body["results"]
    assert left["id"] != shown["id"]
    (read,) = recipient_api.get("notifications?state=read").body["results"]
    assert read["id"] == shown["id"]
    assert recipient_api.call("POST", "notifications/read", {}).body == {"unread": 0}
    assert not Notification.objects.filter(grower=recipient, read_at=None).exists()
    assert Notification.objects.exclude(grower=recipient).filter(read_at=None).count() == 2


def test_what_is_new_or_read_since_an_instant(
    recipient: Grower, pairing: Pairing, recipient_api: Caller, clock: MovableClock
) -> None:
    def since(moment: Any) -> int:
        return len(recipient_api.get(f"notifications?updated_since={instant(moment)}").body["results"])

    written = of(recipient).created_at
    assert (since(written), since(written + timedelta(microseconds=1))) == (1, 0)
    clock.set(NOON + timedelta(hours=1))
    recipient_api.call("POST", f"notifications/{of(recipient).public_id}/read")
    assert (since(NOON + timedelta(minutes=30)), since(NOON + timedelta(hours=2))) == (1, 0)


@pytest.mark.parametrize(
    ("query", "parameter"),
    [("state=new", "state"), ("updated_since=2027-01-01", "updated_since"), ("unread=true", "unread")],
)
def test_a_filter_that_is_not_declared_is_refused(recipient_api: Caller, query: str, parameter: str) -> None:
    refused = recipient_api.get(f"notifications?{query}")
    assert (refused.status, list(refused.faults)) == (400, [parameter])


def test_pages_follow_each_other(
    society: Society, recipient: Grower, pairing: Pairing, recipient_api: Caller
) -> None:
    pairings_tell(fresh=[], gone=[pairing])
    first = recipient_api.get("notifications?limit=1")
    (newest,) = first.body["results"]
    assert (newest["code"], 'rel="next"' in first["Link"]) == ("pairing_withdrawn", True)
    path = first.body["next"].partition("http://testserver")[2]
    second = recipient_api.get(path).body
    assert [each["code"] for each in second["results"]] == ["pairing_proposed"]
    assert second["next"] is None


def test_a_list_costs_the_same_however_long(
    society: Society, pairing: Pairing, recipient_api: Caller
) -> None:
    recipient_api.get("me")
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as captured:
            results = recipient_api.get("notifications").body["results"]
        counts.append((len(results), len(captured)))
        for _more in range(5):
            another = make_offer_in_hand(society.given, NOON.date() - timedelta(days=1), countries=["DE"])
            pairings_tell(fresh=[make_pairing(another, society.wanted)], gone=[])
    assert counts == [(1, 3), (6, 3)]  # the token with its grower, who is hidden, the notifications
