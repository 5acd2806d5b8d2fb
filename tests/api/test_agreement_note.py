"""Notes through the API: read by the two, written to what lives, and to coordinators only when reported."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import AgreementNote
from exchange.services.agreement_note import note_report, note_write
from exchange.services.block import block_create
from exchange.services.coordinator import coordinator_grant
from growers.models import Grower
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose
from tests.exchange.society import NOON
from tests.factories import make_grower

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


@pytest.fixture
def coordinator_api(db: None) -> Caller:
    return caller(coordinator_grant(handle=make_grower("weir").handle))


def test_the_two_talk_and_neither_is_named(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    path = f"agreements/{propose(bargain.pairing).public_id}/notes"
    made = donor_api.post(path, {"text": "It opens at eight.\nMonday?"})
    assert made.status == 201
    assert made.body == {
        "id": made.body["id"],
        "created_at": made.body["created_at"],
        "by": "you",
        "text": "It opens at eight.\nMonday?",
        "reported_by_you": False,
    }
    assert donor_api.get(made["Location"]).body == made.body
    recipient_api.post(path, {"text": "Monday it is."})
    read = donor_api.get(path).body["results"]
    assert [(each["by"], each["text"]) for each in read] == [
        ("other", "Monday it is."),
        ("you", "It opens at eight.\nMonday?"),
    ]
    assert b"recipient" not in donor_api.get(path).response.content
    events = donor_api.get(path.removesuffix("/notes")).body["events"]
    assert events[-1]["detail"] == (
        "Someone in this region: Europe, northern temperate has written you a note about 'Ferry'."
    )
    assert [event["parameters"] for event in events[1:]] == [{}, {}]


def test_the_same_key_writes_one_note(bargain: Bargain, donor_api: Caller) -> None:
    path = f"agreements/{propose(bargain.pairing).public_id}/notes"
    first, again = (
        donor_api.post(path, {"text": "Hello."}, idempotency_key="key-number-1") for _ in range(2)
    )
    assert (again.status, again.body) == (201, first.body)
    assert AgreementNote.objects.count() == 1
    assert donor_api.post(path, {"text": "Other."}, idempotency_key="key-number-1").code == "key_reused"
    refused = donor_api.post(path, {"text": "see pond.example"})
    assert (refused.status, refused.faults) == (422, {"/text": "link"})
    assert donor_api.post(path, {"text": "x" * 1001}).faults == {"/text": "max_length"}


def test_to_an_outsider_and_after_a_block_there_are_no_notes(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider_api: Caller, recipient_api: Caller
) -> None:
    agreement = agree(bargain.pairing)
    note = note_write(actor=donor, agreement=agreement, text="Hello.")
    for api in (outsider_api, recipient_api):
        if api is recipient_api:
            assert api.get(f"agreement-notes/{note.public_id}").status == 200
            block_create(actor=donor, blocked=recipient)
        assert api.get(f"agreements/{agreement.public_id}/notes").status == 404
        assert api.post(f"agreements/{agreement.public_id}/notes", {"text": "Hello."}).status == 404
        assert api.get(f"agreement-notes/{note.public_id}").status == 404
        assert api.call("POST", f"agreement-notes/{note.public_id}/report", {"reason": "x"}).status == 404
    assert not AgreementNote.objects.filter(reported_at__isnull=False).exists()


def test_after_the_end_notes_stay_readable_and_none_is_added(
    bargain: Bargain, donor: Grower, donor_api: Caller, recipient_api: Caller
) -> None:
    agreement = agree(bargain.pairing)
    note_write(actor=donor, agreement=agreement, text="Hello.")
    path = f"agreements/{agreement.public_id}"
    recipient_api.post(f"{path}/withdraw")
    assert len(recipient_api.get(f"{path}/notes").body["results"]) == 1
    assert donor_api.post(f"{path}/notes", {"text": "Oh."}).code == "conflict"


def test_coordinators_read_what_was_reported_and_nothing_else(
    bargain: Bargain, donor: Grower, donor_api: Caller, recipient_api: Caller, coordinator_api: Caller
) -> None:
    agreement = agree(bargain.pairing)
    note_write(actor=donor, agreement=agreement, text="It opens at eight.")
    rude = note_write(actor=donor, agreement=agreement, text="Send it or else.")
    assert coordinator_api.get("reported-notes").body["results"] == []
    reported = recipient_api.call("POST", f"agreement-notes/{rude.public_id}/report", {"reason": "a threat"})
    assert (reported.status, reported.body["reported_by_you"]) == (200, True)
    answer = coordinator_api.get("reported-notes")
    (seen,) = answer.body["results"]
    assert seen == {
        "id": str(rude.public_id),
        "created_at": reported.body["created_at"],
        "author": "donor",
        "text": "Send it or else.",
        "reported_by": "recipient",
        "reported_at": seen["reported_at"],
        "reason": "a threat",
    }
    assert coordinator_api.get(f"agreement-notes/{rude.public_id}").status == 404
    assert coordinator_api.get(f"agreements/{agreement.public_id}/notes").status == 404
    for api in (donor_api, recipient_api):
        assert api.get("reported-notes").status == 404
    assert donor_api.get(f"agreement-notes/{rude.public_id}").body["reported_by_you"] is False


def test_lists_cost_the_same_however_long(
    bargain: Bargain,
    donor: Grower,
    recipient: Grower,
    donor_api: Caller,
    coordinator_api: Caller,
    clock: MovableClock,
) -> None:
    agreement = agree(bargain.pairing)
    counts = []
    for api in (donor_api, coordinator_api):
        api.get("me")
    for expected in (3, 30):
        while AgreementNote.objects.count() < expected:
            note = note_write(actor=donor, agreement=agreement, text="Hello.")
            note_report(actor=recipient, note=note, reason="again")
            clock.move(hours=2)
        for api, path in (
            (donor_api, f"agreements/{agreement.public_id}/notes"),
            (coordinator_api, "reported-notes"),
        ):
            with CaptureQueriesContext(connection) as captured:
                assert len(api.get(path).body["results"]) == expected
            counts.append(len(captured))
    # the token with its grower; the agreement with its events and reservations, who is hidden, twice; notes
    assert counts[:2] == counts[2:]
