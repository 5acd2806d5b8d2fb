"""Agreements through the API: two yeses, what each side reads, and nothing for an outsider."""

from typing import Any

import pytest

from exchange.models import Agreement
from growers.models import Grower
from tests.api.caller import Answer, Caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose, state_papers
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, terms=[{"code": "tell_result"}])


def say_yes(api: Caller, bargain: Bargain, **changes: Any) -> Answer:
    body = {"pairing_id": str(bargain.pairing.public_id), "doses": 2, "terms": ["tell_result"], **changes}
    return api.post("agreements", body)


def test_two_yeses_through_the_api(bargain: Bargain, donor_api: Caller, recipient_api: Caller) -> None:
    first = say_yes(recipient_api, bargain)
    assert first.status == 201
    assert first["Location"] == f"/api/v1/agreements/{first.body['id']}"
    assert (first.body["role"], first.body["state"], first.body["recipient"]) == (
        "recipient",
        "proposed",
        "recipient",
    )
    (seen,) = donor_api.get("agreements?state=proposed").body["results"]
    assert (seen["role"], seen["recipient"], seen["seed_parent"]) == ("donor", None, None)
    assert seen["wanted_cross_id"] is None
    assert seen["events"][0]["detail"] == (
        "Someone in this region: Europe, northern temperate says yes to 2 doses of 'Ferry'. Now it is your"
        " turn."
    )
    second = donor_api.post(f"agreements/{seen['id']}/accept", {"post_from": "home"})
    assert (second.status, second.body["state"], second.body["recipient"]) == (200, "agreed", "recipient")
    assert second.body["seed_parent"] == "seed of recipient"
    (offer,) = donor_api.get("offers").body["results"]
    assert offer["supply"] == {"total": 4, "kept_back": 0, "reserved": 2, "sent": 0, "left": 2}


def test_an_outsider_reads_and_does_nothing(bargain: Bargain, outsider_api: Caller) -> None:
    agreement = agree(bargain.pairing)
    path = f"agreements/{agreement.public_id}"
    assert outsider_api.get("agreements").body["results"] == []
    assert outsider_api.get(path).status == 404
    for action in ("accept", "decline", "withdraw", "postpone", "send-less", "send", "end"):
        bodies = {"decline": {"reason": "other"}, "send-less": {"doses": 1}, "accept": {}}
        assert outsider_api.post(f"{path}/{action}", bodies.get(action)).status == 404
    agreement.refresh_from_db()
    assert agreement.state == "agreed"


def test_the_loser_of_a_dose_hears_how_many_are_left(
    bargain: Bargain, donor_api: Caller, outsider: Grower
) -> None:
    agree(bargain.pairing, doses=3)
    late = propose(bargain.wanted_by(outsider), doses=1)
    Agreement.objects.filter(pk=late.pk).update(doses=2)
    answer = donor_api.post(f"agreements/{late.public_id}/accept", {"post_from": "home"})
    assert (answer.status, answer.code) == (409, "doses_short")
    assert answer.body["detail"] == "2 doses are asked for and 1 is left."
    assert answer.body["errors"][0]["allowed"] == "1"


def test_what_runs_out_reads_as_lapsed_before_anybody_swept_it(
    bargain: Bargain, donor_api: Caller, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing)
    clock.move(days=200)
    assert Agreement.objects.get().state == "agreed"
    body = donor_api.get(f"agreements/{agreement.public_id}").body
    assert (body["state"], body["reserved_until"]) == ("lapsed", None)
    assert donor_api.get("agreements?state=agreed").body["results"] == []
    assert len(donor_api.get("agreements?state=lapsed").body["results"]) == 1
    assert donor_api.get("offers").body["results"][0]["supply"]["left"] == 4


def test_across_a_border_nothing_is_handed_over_before_both_stated(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    agreement = agree(bargain.pairing)
    path = f"agreements/{agreement.public_id}"
    refused = donor_api.post(f"{path}/send")
    assert (refused.status, refused.code) == (409, "conflict")
    assert "The donor's statement is missing" in refused.body["detail"]
    assert "The recipient's statement is missing" in refused.body["detail"]
    state_papers(agreement)
    sent = donor_api.post(f"{path}/send")
    assert (sent.status, sent.body["sent"], sent.body["state"]) == (200, True, "agreed")
    ended = recipient_api.post(f"{path}/end")
    assert (ended.status, ended.body["end_reason"]) == (200, "done")
    (offer,) = donor_api.get("offers").body["results"]
    assert offer["supply"] == {"total": 4, "kept_back": 0, "reserved": 0, "sent": 2, "left": 2}
