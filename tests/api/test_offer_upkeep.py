"""Upkeep of offers through the API: its own donor alone, sums that hold, nothing twice."""

from typing import Any

import pytest

from exchange.models import Lot, Offer
from exchange.services.due import run_due
from exchange.services.offer_due import ANSWER_TIME, SEASON
from growers import clock as project_clock
from growers.models import Grower
from tests.api.caller import Answer, Caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, assert_sums_hold, make_bargain
from tests.exchange.refusal import rows
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

LOT = {"doses": 2, "collected_on": "2027-07-01", "store": "refrigerator"}
TABLES = ("exchange_offer", "exchange_lot", "exchange_supply", "exchange_reservation", "exchange_agreement")


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


@pytest.fixture
def path(bargain: Bargain) -> str:
    return f"offers/{bargain.offer.public_id}"


def supply(answer: Answer) -> dict[str, int]:
    assert answer.status == 200, answer.body
    assert_sums_hold()
    return dict(answer.body["supply"])


def counted(total: int, kept_back: int, reserved: int, sent: int = 0) -> dict[str, int]:
    left = total - kept_back - reserved - sent
    return {"total": total, "kept_back": kept_back, "reserved": reserved, "sent": sent, "left": left}


def test_an_offer_is_changed_where_it_was_read(path: str, donor_api: Caller) -> None:
    tag = donor_api.get(path)["ETag"]
    changed = donor_api.patch(path, {"note": "in June", "doses": 6, "terms": [{"code": "tell_result"}]})
    assert (changed.status, changed.body["note"], changed.body["countries"]) == (200, "in June", ["DE"])
    assert changed.body["supply"] == counted(6, 0, 0)
    assert [term["key"] for term in changed.body["terms"]] == ["tell_result"]
    assert donor_api.get(path).body == changed.body
    stale = donor_api.patch(path, {"note": "in July"}, if_match=tag)
    assert (stale.status, stale.code) == (412, "stale")
    assert donor_api.call("PATCH", path, {"note": "in July"}).status == 428
    assert donor_api.patch(path, {"state": "closed"}).faults == {"/state": "unknown_field"}
    assert Offer.objects.get().note == "in June"


def test_fewer_than_are_spoken_for_is_409_and_says_what_to_do(
    bargain: Bargain, path: str, donor_api: Caller
) -> None:
    agree(bargain.pairing, doses=3)
    refused = donor_api.patch(path, {"doses": 2})
    assert (refused.status, refused.code) == (409, "conflict")
    assert refused.body["detail"].endswith("say that it came up short.")


def test_a_collected_lot_takes_the_promised_doses_once(
    bargain: Bargain, path: str, donor_api: Caller
) -> None:
    agree(bargain.pairing, doses=2)
    first, again = (donor_api.post(f"{path}/collect", LOT, idempotency_key="key-number-1") for _ in range(2))
    assert (again.body, again["Idempotency-Replayed"]) == (first.body, "true")
    assert [lot["doses"] for lot in first.body["lots"]] == [2]
    assert supply(first) == counted(4, 0, 2)
    assert Lot.objects.get().supply.reserved == 2
    late = donor_api.post(f"{path}/collect", {**LOT, "collected_on": "2027-07-02"})
    assert (late.status, late.faults) == (422, {"/collected_on": "not_allowed"})


def test_coming_up_short_of_a_lot_or_of_the_rest(bargain: Bargain, path: str, donor_api: Caller) -> None:
    agree(bargain.pairing, doses=2)
    (lot,) = donor_api.post(f"{path}/collect", LOT).body["lots"]
    unclear = donor_api.post(f"{path}/came-up-short", {"doses": 1})
    assert (unclear.status, unclear.code) == (409, "conflict")
    both = {"doses": 1, "lot_id": lot["id"], "to_be_collected": True}
    assert donor_api.post(f"{path}/came-up-short", both).faults == {"/lot_id": "not_with_kind"}
    short = donor_api.post(f"{path}/came-up-short", {"doses": 1, "lot_id": lot["id"]})
    assert supply(short) == counted(3, 0, 1)
    rest = donor_api.post(f"{path}/came-up-short", {"doses": 0, "to_be_collected": True})
    assert supply(rest) == counted(1, 0, 1)
    more = donor_api.post(f"{path}/came-up-short", {"doses": 1, "lot_id": lot["id"]})
    assert (more.status, more.faults) == (422, {"/doses": "not_allowed"})
    unknown = {"doses": 0, "lot_id": str(bargain.offer.public_id)}
    assert donor_api.post(f"{path}/came-up-short", unknown).faults == {"/lot_id": "not_found"}


def test_what_is_kept_back_is_nobody_elses(bargain: Bargain, path: str, donor_api: Caller) -> None:
    agree(bargain.pairing, doses=2)
    for _ in range(2):
        assert supply(donor_api.call("POST", f"{path}/keep-back", {"doses": 1})) == counted(4, 1, 2)
    short = donor_api.call("POST", f"{path}/keep-back", {"doses": 3})
    assert (short.status, short.code) == (409, "doses_short")
    assert supply(donor_api.call("POST", f"{path}/keep-back", {"doses": 0})) == counted(4, 0, 2)


def test_an_unanswered_offer_rests_until_its_donor_says_that_it_holds(
    path: str, donor_api: Caller, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("exchange.services.due.SOURCES", [])
    for wait in (SEASON, ANSWER_TIME):
        clock.move(seconds=wait.total_seconds() + 60)
        run_due(project_clock.now(), 10)
    resting = donor_api.get(path).body
    assert (resting["state"], resting["still_true_asked_at"] is not None) == ("paused", True)
    for _ in range(2):
        body = donor_api.call("POST", f"{path}/still-true").body
        assert (body["state"], body["still_true_asked_at"]) == ("open", None)
        assert body["confirmed_at"] > resting["still_true_asked_at"]
    donor_api.call("POST", f"{path}/pause")
    assert donor_api.call("POST", f"{path}/still-true").code == "conflict"


def test_all_offers_rest_with_one_action(path: str, donor_api: Caller, outsider_api: Caller) -> None:
    assert outsider_api.call("POST", "offers/pause-all").body == {"paused": 0}
    assert donor_api.get(path).body["state"] == "open"
    for _ in range(2):
        assert donor_api.call("POST", "offers/pause-all").body == {"paused": 1}
    assert donor_api.get(path).body["state"] == "paused"


def test_others_neither_change_nor_count(
    bargain: Bargain, path: str, recipient_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    agree(bargain.pairing)
    acts: dict[str, Any] = {
        "collect": LOT,
        "came-up-short": {"doses": 0},
        "keep-back": {"doses": 1},
        "still-true": None,
    }
    before = {name: rows()[name] for name in TABLES}
    for api in (recipient_api, outsider_api):
        for act, body in acts.items():
            assert api.post(f"{path}/{act}", body).status == 404
        assert api.call("PATCH", path, {"note": "mine"}, if_match="*").status == 404
    for act, body in acts.items():
        assert nobody.post(f"{path}/{act}", body).status == 401
    assert {name: rows()[name] for name in TABLES} == before
