"""Border notes through the API: who reads which, who decides, and that nobody reads who proposed one."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import BorderNote
from exchange.services.border_note import border_note_create
from exchange.services.coordinator import coordinator_grant
from growers.models import Grower
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, TODAY
from tests.factories import make_grower, make_taxon

pytestmark = pytest.mark.django_db

NOTE = {
    "kind": "forbidden",
    "origin": "FR",
    "destination": "DE",
    "text": "pollen may not come in",
    "source": "a letter of 30 June",
    "asked_whom": "the office at the lake",
    "checked_on": "2027-07-01",
}


@pytest.fixture
def coordinator_api(db: None, clock: MovableClock) -> Caller:
    clock.set(NOON)
    return caller(coordinator_grant(handle=make_grower("weir").handle))


def ids(api: Caller, query: str = "") -> list[str]:
    return [each["id"] for each in api.get(f"border-notes{query}").body["results"]]


def on_file(**changes: Any) -> str:
    stated = {
        "kind": "conditions",
        "destination": "DE",
        "text": "ask",
        "source": "a page",
        "checked_on": TODAY,
    }
    return str(border_note_create(**{**stated, **changes}).public_id)


def test_a_proposal_is_its_proposers_and_the_coordinators_until_it_counts(
    coordinator_api: Caller, donor_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    made = donor_api.post("border-notes", NOTE)
    assert made.status == 201
    assert made.body == {
        **NOTE,
        "id": made.body["id"],
        "state": "proposed",
        "taxon": None,
        "expires_on": None,
        "counts": False,
        "proposed_by_you": True,
        "invented": False,
    }
    path = made["Location"]
    assert donor_api.get(path).body == made.body
    assert (ids(outsider_api), outsider_api.get(path).status) == ([], 404)
    assert nobody.get("border-notes").status == 401
    assert ids(coordinator_api, "?state=proposed") == [made.body["id"]]
    assert coordinator_api.get(path).body["asked_whom"] == "the office at the lake"

    for api in (donor_api, outsider_api):
        before = rows()["exchange_bordernote"]
        for act in ("confirm", "refuse"):
            assert api.call("POST", f"{path}/{act}").status == 404
        assert rows()["exchange_bordernote"] == before
    confirmed = coordinator_api.call("POST", f"{path}/confirm")
    assert (confirmed.status, confirmed.body["state"], confirmed.body["counts"]) == (200, "confirmed", True)
    assert coordinator_api.call("POST", f"{path}/confirm").body == confirmed.body
    seen = outsider_api.get(path)
    assert (seen.body["proposed_by_you"], seen.body["asked_whom"]) == (False, None)
    for api in (outsider_api, coordinator_api):
        assert b"donor" not in api.get(path).response.content
    assert coordinator_api.call("POST", f"{path}/refuse").body["counts"] is False
    assert (ids(outsider_api), ids(donor_api)) == ([], [made.body["id"]])
    assert coordinator_api.call("POST", f"{path}/confirm").code == "conflict"


def test_the_same_key_proposes_once(coordinator_api: Caller, donor_api: Caller) -> None:
    first, again = (donor_api.post("border-notes", NOTE, idempotency_key="key-number-1") for _ in range(2))
    assert (again.status, again.body) == (201, first.body)
    assert BorderNote.objects.count() == 1
    other = donor_api.post("border-notes", {**NOTE, "origin": ""}, idempotency_key="key-number-1")
    assert other.code == "key_reused"


@pytest.mark.parametrize(
    ("changes", "status", "faults"),
    [
        (
            {"state": "confirmed", "proposed_by": 1},
            400,
            {"/proposed_by": "unknown_field", "/state": "unknown_field"},
        ),
        ({"text": "it is allowed"}, 422, {"/text": "reads_as_leave"}),
        ({"asked_whom": "  "}, 422, {"/asked_whom": "missing"}),
        ({"destination": "XX"}, 422, {"/destination": "not_allowed"}),
        ({"taxon_id": "0d9b7a56-5f0c-4f3e-8f3f-6f1d7f4f2a11"}, 422, {"/taxon_id": "not_found"}),
        ({"invented": True}, 400, {"/invented": "unknown_field"}),
    ],
)
def test_a_wrong_proposal_is_refused_with_its_place(
    coordinator_api: Caller, donor_api: Caller, changes: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post("border-notes", {**NOTE, **changes})
    assert (refused.status, refused.faults) == (status, faults)
    assert not BorderNote.objects.exists()


def test_notes_are_found_by_what_they_concern(coordinator_api: Caller, donor_api: Caller) -> None:
    lily, lotus = make_taxon(name="Nymphaea one"), make_taxon(name="Nymphaea two")
    of_lily, of_any = on_file(taxon=lily, origin="FR"), on_file(origin="")
    from_italy, to_france = on_file(origin="IT"), on_file(destination="FR")
    assert set(ids(donor_api)) == {of_lily, of_any, from_italy, to_france}
    assert set(ids(donor_api, f"?taxon={lily.public_id}")) == {of_lily, of_any, from_italy, to_france}
    assert set(ids(donor_api, f"?taxon={lotus.public_id}")) == {of_any, from_italy, to_france}
    assert set(ids(donor_api, "?origin=FR&destination=DE")) == {of_lily, of_any}
    assert ids(donor_api, "?destination=FR") == [to_france]
    assert donor_api.get("border-notes?country=FR").faults == {"country": "unknown_field"}


def test_a_list_costs_the_same_however_long(
    coordinator_api: Caller, donor: Grower, donor_api: Caller
) -> None:
    donor_api.get("me")
    counts = []
    for expected in (5, 40):
        while BorderNote.objects.count() < expected:
            on_file(taxon=make_taxon(name=f"Nymphaea {BorderNote.objects.count()}"))
        with CaptureQueriesContext(connection) as captured:
            assert len(donor_api.get("border-notes?limit=100").body["results"]) == expected
        counts.append(len(captured))
    assert counts == [4, 4]  # the token with its grower, the role twice, the notes with their taxa
