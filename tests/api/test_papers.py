"""Papers of an agreement: what is on file, stated and lacking; nothing that reads as leave to send."""

from typing import Any

import pytest

from exchange.api.page import document
from exchange.models import PapersStatement
from exchange.services.block import block_create
from exchange.services.border_note import border_note_create
from exchange.wording.catalogue import SENTENCES
from exchange.wording.papers import ACROSS, LACKING, WITHIN
from growers.models import Grower
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose, state_papers
from tests.exchange.refusal import rows
from tests.exchange.society import FRANCE, NOON, TODAY, make_pairing
from tests.exchange.wording.plain import PERMISSION
from tests.factories import make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db

OF_DONOR = {
    "botanical_name": "Nymphaea hybrid",
    "origin": "cultivated",
    "free_of_soil_water_insects": True,
    "rights": "not_known",
}
OF_RECIPIENT = {
    "papers": "not_needed",
    "asked_whom": "the office",
    "asked_on": "2027-07-01",
    "answer": "none",
}
OPERATIONS = (
    "agreement_papers",
    "agreement_statement",
    "border_note_list",
    "border_note_create",
    "border_note_read",
    "border_note_confirm",
    "border_note_refuse",
)


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def put_on_file(kind: str, checked_on: str = "2027-07-01") -> None:
    border_note_create(
        kind=kind,
        destination="DE",
        origin="FR",
        text="a letter of the office is asked for",
        source="a page",
        checked_on=TODAY.fromisoformat(checked_on),
    )


def codes(told: list[dict[str, Any]]) -> list[str]:
    return [each["code"] for each in told]


def test_both_read_both_statements_and_the_newest_counts(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    path = f"agreements/{agree(bargain.pairing).public_id}"
    assert codes(donor_api.get(f"{path}/papers").body["lacking"]) == [
        "donor_statement_missing",
        "recipient_statement_missing",
    ]
    stated = donor_api.post(f"{path}/statement", OF_DONOR)
    assert stated.status == 200
    assert stated.body["donor"] == {
        **OF_DONOR,
        "origin_detail": "",
        "asked_whom": "",
        "asked_on": None,
        "answer": "",
        "stated_at": stated.body["donor"]["stated_at"],
    }
    assert stated.body["recipient"] is None
    unsure = recipient_api.post(f"{path}/statement", {"papers": "not_sure"})
    assert codes(unsure.body["lacking"]) == ["papers_not_sure"]
    after = recipient_api.post(f"{path}/statement", OF_RECIPIENT).body
    assert after["recipient"] == {**OF_RECIPIENT, "stated_at": after["recipient"]["stated_at"]}
    assert after["lacking"] == []
    assert donor_api.get(f"{path}/papers").body == recipient_api.get(f"{path}/papers").body == after
    assert PapersStatement.objects.count() == 3
    sentences = [each["detail"] for each in donor_api.get(path).body["events"]]
    assert sentences[-3:] == [
        "You stated your side of the papers.",
        "recipient has stated their side of the papers for 'Ferry'.",
        "recipient has stated their side of the papers for 'Ferry'.",
    ]


def test_a_statement_sent_twice_with_its_key_is_one(bargain: Bargain, donor_api: Caller) -> None:
    path = f"agreements/{agree(bargain.pairing).public_id}/statement"
    first, again = (donor_api.post(path, OF_DONOR, idempotency_key="key-number-1") for _ in range(2))
    assert (again.status, again.body, again["Idempotency-Replayed"]) == (200, first.body, "true")
    assert PapersStatement.objects.count() == 1
    assert donor_api.post(
        path, {**OF_DONOR, "rights": "none_known"}, idempotency_key="key-number-1"
    ).code == ("key_reused")


@pytest.mark.parametrize(
    ("stated", "status", "faults"),
    [
        ({**OF_DONOR, "papers": "in_hand"}, 422, {"/papers": "not_of_this_side"}),
        (
            {"origin": "wild"},
            422,
            dict.fromkeys(("/botanical_name", "/free_of_soil_water_insects", "/rights"), "missing"),
        ),
        ({**OF_DONOR, "asked_on": "2027-07-03"}, 422, {"/asked_on": "in_future"}),
        ({**OF_DONOR, "origin": "stolen"}, 400, {"/origin": "invalid_choice"}),
        ({**OF_DONOR, "side": "recipient"}, 400, {"/side": "unknown_field"}),
    ],
)
def test_a_statement_that_does_not_fit_is_refused_with_its_place(
    bargain: Bargain, donor_api: Caller, stated: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    path = f"agreements/{agree(bargain.pairing).public_id}/statement"
    refused = donor_api.post(path, stated)
    assert (refused.status, refused.faults) == (status, faults)
    assert not PapersStatement.objects.exists()


def test_whoever_asked_says_whom_and_when(bargain: Bargain, recipient_api: Caller) -> None:
    path = f"agreements/{agree(bargain.pairing).public_id}/statement"
    refused = recipient_api.post(path, {"papers": "in_hand", "asked_whom": "the office"})
    assert (refused.status, refused.faults) == (422, {"/asked_whom": "missing"})
    assert refused.body["detail"] == "Say whom you asked (asked_whom) and on which day (asked_on)."


def test_to_an_outsider_and_after_a_block_there_are_no_papers(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider_api: Caller, recipient_api: Caller
) -> None:
    agreement = agree(bargain.pairing)
    state_papers(agreement)
    path = f"agreements/{agreement.public_id}"
    for api in (outsider_api, recipient_api):
        if api is recipient_api:
            assert api.get(f"{path}/papers").status == 200
            block_create(actor=donor, blocked=recipient)
        before = rows()["exchange_papersstatement"]
        assert api.get(f"{path}/papers").status == 404
        assert api.post(f"{path}/statement", OF_RECIPIENT).status == 404
        assert rows()["exchange_papersstatement"] == before


def test_after_the_end_papers_stay_readable_and_nothing_is_stated(
    bargain: Bargain, recipient_api: Caller
) -> None:
    agreement = agree(bargain.pairing)
    path = f"agreements/{agreement.public_id}"
    recipient_api.post(f"{path}/withdraw")
    refused = recipient_api.post(f"{path}/statement", OF_RECIPIENT)
    assert (refused.status, refused.body["detail"]) == (
        409,
        "The agreement is ended; there is nothing to state any more.",
    )
    assert recipient_api.get(f"{path}/papers").status == 200


def test_within_a_country_nothing_lacks_and_nothing_is_stated(
    bargain: Bargain, outsider: Grower, outsider_api: Caller
) -> None:
    seed = make_plant(outsider, site=make_site(outsider, **FRANCE))
    agreement = agree(make_pairing(bargain.offer, make_wanted_cross(seed, flowers=2), papers=None), doses=1)
    path = f"agreements/{agreement.public_id}"
    assert outsider_api.get(f"{path}/papers").body == {
        "crosses_border": False,
        "line": None,
        "donor": None,
        "recipient": None,
        "lacking": [],
        "caution": str(WITHIN),
    }
    assert outsider_api.post(f"{path}/statement", OF_RECIPIENT).status == 409


# --- the line ---


LINES = (
    ("", "", "papers_nothing_on_file", ": nothing on file"),
    ("conditions", "2026-06-30", "papers_note_old", ", a note older than 12 months"),
    ("conditions", "2027-06-30", "papers_note_on_file", ", a note on file"),
    ("forbidden", "2027-06-29", "papers_forbidden", " a note on file forbids it"),
)
"""What is put on file, one after the other, and the line after that."""


def test_the_line_is_that_of_today_and_names_countries_once_both_have_said_yes(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    agreement = propose(bargain.pairing)
    papers = f"agreements/{agreement.public_id}/papers"
    for api in (donor_api, recipient_api):
        assert api.get(papers).body["line"]["code"] == "papers_country_not_told"
        assert b"FR" not in api.get(papers).response.content
        assert b"DE" not in api.get(papers).response.content
    donor_api.post(f"agreements/{agreement.public_id}/accept", {"post_from": "home"})
    for kind, day, code, words in LINES:
        if kind:
            put_on_file(kind, day)
        line = recipient_api.get(papers).body["line"]
        assert line["code"] == code
        assert line["detail"].startswith(f"From FR to DE{words}")


def test_a_note_that_forbids_keeps_the_parcel_at_home_and_ends_nothing(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing)
    state_papers(agreement)
    path = f"agreements/{agreement.public_id}"
    put_on_file("forbidden")
    assert codes(recipient_api.get(f"{path}/papers").body["lacking"]) == ["papers_forbidden"]
    refused = donor_api.post(f"{path}/send")
    assert (refused.status, refused.code) == (409, "conflict")
    assert refused.body["detail"].startswith(
        "From FR to DE a note on file forbids it: a letter of the office"
    )
    assert [each["code"] for each in refused.body["errors"]] == ["papers_forbidden"]
    agreement.refresh_from_db()
    assert (agreement.state, bargain.supply().reserved) == ("agreed", 2)


def test_an_old_note_reads_as_unknown_and_keeps_nothing_at_home(bargain: Bargain, donor_api: Caller) -> None:
    agreement = agree(bargain.pairing)
    state_papers(agreement)
    put_on_file("forbidden", "2026-06-30")
    path = f"agreements/{agreement.public_id}"
    line = donor_api.get(f"{path}/papers").body["line"]
    assert (line["code"], "treat it as unknown" in line["detail"]) == ("papers_note_old", True)
    assert donor_api.post(f"{path}/send").status == 200


# --- words ---


def sentences_of_the_document() -> list[str]:
    """Every text of these operations: summary, description, fields of their bodies and good answers."""
    whole: Any = document()
    found: list[str] = []
    for item in whole["paths"].values():
        for operation in item.values():
            if operation["operationId"] in OPERATIONS:
                good = {code: each for code, each in operation["responses"].items() if code.startswith("2")}
                gather({**operation, "responses": good}, whole["components"]["schemas"], found, set())
    return found


def gather(node: Any, schemas: dict[str, Any], found: list[str], seen: set[str]) -> None:
    """Collect the texts of a part of the document, and of the schemas that it names."""
    for value in node if isinstance(node, list) else ():
        gather(value, schemas, found, seen)
    for name, value in node.items() if isinstance(node, dict) else ():
        reference = str(value).rpartition("/")[2] if name == "$ref" else ""
        if name in ("summary", "description") and isinstance(value, str):
            found.append(value)
        elif not reference:
            gather(value, schemas, found, seen)
        elif reference not in seen:
            seen.add(reference)
            gather(schemas[reference], schemas, found, seen)


def test_no_sentence_about_papers_reads_as_leave_to_send() -> None:
    lines = [str(text) for code, text in SENTENCES.items() if code.startswith("papers_")]
    texts = [*lines, *map(str, LACKING.values()), str(ACROSS), str(WITHIN), *sentences_of_the_document()]
    assert len(texts) > 60
    assert [text for text in texts if PERMISSION.search(text)] == []


def test_no_answer_about_papers_reads_as_leave_to_send(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    path = f"agreements/{agree(bargain.pairing).public_id}"
    for fact in ("", "forbidden", "conditions"):
        if fact:
            put_on_file(fact)
        answers = [
            donor_api.get(f"{path}/papers"),
            donor_api.post(f"{path}/send"),
            donor_api.post(f"{path}/statement", OF_DONOR),
            recipient_api.post(f"{path}/statement", OF_RECIPIENT),
            donor_api.get(path),
            donor_api.get("border-notes"),
        ]
        for answer in answers:
            assert not PERMISSION.search(answer.response.content.decode())
