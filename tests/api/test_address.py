"""Addresses through the API: the password once more, one noted call, and not a word of it anywhere else."""

import logging
from typing import Any

import pytest
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Address, AddressView, AgreementEvent, IdempotentAnswer
from exchange.services.account import email_confirm
from growers.models import Grower
from tests.api.caller import PASSWORD, Caller
from tests.api.every_get import described, everything
from tests.api.test_token import code_now
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain
from tests.exchange.refusal import rows
from tests.exchange.services.test_address import HOME, SENTINELS
from tests.exchange.society import NOON
from tests.exchange.stored import stored

pytestmark = pytest.mark.django_db

KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"
BLANK: dict[str, Any] = {"name": "", "lines": [], "postal_code": "", "town": "", "country": ""}
NONE_STATED = {**BLANK, "changed_at": None}


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    cache.clear()
    clock.set(NOON)
    recipient.set_password(PASSWORD)
    recipient.save(update_fields=["password"])
    email_confirm(grower=recipient)
    return make_bargain(donor, recipient)


def state(api: Caller, **changed: Any) -> Any:
    return api.patch("me/address", {"password": PASSWORD, **HOME, **changed})


def test_ones_own_address_is_stated_changed_and_taken_back(bargain: Bargain, recipient_api: Caller) -> None:
    empty = recipient_api.get("me/address")
    assert (empty.status, empty.body, empty["Cache-Control"]) == (200, NONE_STATED, "no-store")
    stated = state(recipient_api)
    changed_at = Address.objects.get().changed_at.isoformat().replace("+00:00", "Z")
    assert (stated.status, stated.body) == (200, {**HOME, "changed_at": changed_at})
    assert stated["Cache-Control"] == "no-store"
    assert recipient_api.get("me/address").body == stated.body
    assert recipient_api.patch("me/address", {"password": PASSWORD, "town": "Elsewhere"}).body["town"] == (
        "Elsewhere"
    )
    assert recipient_api.delete("me/address").status == 204
    assert recipient_api.get("me/address").body == NONE_STATED
    again = recipient_api.delete("me/address")
    assert (again.status, again.body["detail"]) == (404, "You have stated no address.")


@pytest.mark.parametrize("body", [{}, {"password": "wrong wrong"}, {"password": ""}, {"code": "123456"}])
def test_a_token_alone_changes_nothing(bargain: Bargain, recipient_api: Caller, body: dict[str, str]) -> None:
    state(recipient_api)
    agree(bargain.pairing)
    recipient_api.get("me/address")
    before = rows()
    refused = recipient_api.patch("me/address", {**body, "town": "Thief's town"})
    assert refused.status in (400, 403)
    assert refused.code == ("does_not_fit" if body == {"password": ""} else "password_wrong")
    assert PASSWORD.encode() not in refused.response.content
    assert b"wrong wrong" not in refused.response.content
    assert rows() == before


def test_the_second_factor_is_asked_for_too(
    bargain: Bargain, recipient: Grower, recipient_api: Caller
) -> None:
    secret = generate_totp_secret()
    TOTP.activate(recipient, secret)
    assert state(recipient_api).code == "password_wrong"
    assert state(recipient_api, code="000000x").code == "password_wrong"
    assert not Address.objects.exists()
    code = code_now(secret)
    assert state(recipient_api, code=code).status == 200
    assert state(recipient_api, code=code, town="Elsewhere").code == "password_wrong"  # a code works once


def test_guessing_is_limited_as_signing_in_is(
    bargain: Bargain, recipient_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "SIGN_INS_PER_MINUTE", 0)
    refused = state(recipient_api)
    assert (refused.status, refused.code) == (429, "too_many_requests")
    assert not Address.objects.exists()


@pytest.mark.parametrize(
    ("changed", "status", "faults"),
    [
        ({"owner": "me"}, 400, {"/owner": "unknown_field"}),
        ({"lines": "x"}, 400, {"/lines": "not_a_list"}),
        ({"lines": []}, 400, {"/lines": "min_length"}),
        ({"lines": ["x"] * 5}, 400, {"/lines": "max_length"}),
        ({"name": "x" * 101}, 400, {"/name": "max_length"}),
        ({"country": "DEU"}, 400, {"/country": "max_length"}),
        ({"country": "XX"}, 422, {"/country": "not_allowed"}),
        ({"town": "\u200b"}, 422, {"/town": "not_allowed"}),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(
    bargain: Bargain, recipient_api: Caller, changed: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = state(recipient_api, **changed)
    assert (refused.status, refused.faults) == (status, faults)
    assert not Address.objects.exists()


def test_the_donor_reads_it_once_for_each_key_and_its_owner_sees_when(
    bargain: Bargain, recipient: Grower, donor_api: Caller, recipient_api: Caller, outsider_api: Caller
) -> None:
    state(recipient_api)
    path = f"agreements/{(agreement := agree(bargain.pairing)).public_id}/address"
    answer = donor_api.post(path, idempotency_key=KEY)
    assert (answer.status, answer.body, answer["Cache-Control"]) == (200, HOME, "no-store")
    again = donor_api.post(path, idempotency_key=KEY)
    assert (again.status, again.code) == (409, "secret_already_shown")
    view = AddressView.objects.get()
    assert recipient_api.get("address-views").body["results"] == [
        {
            "id": str(view.public_id),
            "agreement_id": str(agreement.public_id),
            "viewer": "donor",
            "viewed_at": view.created_at.isoformat().replace("+00:00", "Z"),
        }
    ]
    assert donor_api.get("address-views").body["results"] == []
    assert outsider_api.get("address-views").body["results"] == []
    for other, status in ((outsider_api, 404), (recipient_api, 409)):
        assert other.post(path).status == status
    assert AddressView.objects.count() == 1
    assert IdempotentAnswer.objects.get(grower__handle="donor").answer in (b"", memoryview(b""))


def test_after_a_change_the_answer_says_from_when(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    state(recipient_api)
    path = f"agreements/{agree(bargain.pairing).public_id}/address"
    state(recipient_api, town="Elsewhere")
    refused = donor_api.post(path)
    assert (refused.status, refused.code, refused.faults) == (409, "conflict", {"": "not_yet"})
    at = AgreementEvent.objects.get(kind="address_changed").created_at
    assert refused.body["errors"][0]["allowed"] == f"{at.replace(day=at.day + 1):%Y-%m-%dT%H:%M:%SZ}"
    events = donor_api.get(path.removesuffix("/address")).body["events"]
    assert (events[-1]["kind"], events[-1]["by"]) == ("address_changed", "other")
    assert not AddressView.objects.exists()


def test_an_ex_partner_is_told_that_it_is_over(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    state(recipient_api)
    path = f"agreements/{agree(bargain.pairing).public_id}"
    recipient_api.post(f"{path}/withdraw")
    refused = donor_api.post(f"{path}/address")
    assert (refused.status, refused.code) == (409, "conflict")
    assert refused.body["detail"] == "The agreement is ended; its address has been erased."


def test_no_word_of_it_is_anywhere_else(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller, caplog: pytest.LogCaptureFixture
) -> None:
    """Neither in an answer to either partner, nor in clear in the database, nor in the log."""
    caplog.set_level(logging.DEBUG)
    state(recipient_api)
    agreement = agree(bargain.pairing)
    path = f"agreements/{agreement.public_id}/address"
    shown = donor_api.post(path)
    assert all(word in shown.response.content for word in SENTINELS)
    state(recipient_api, postal_code="0Q8")
    donor_api.post(path)
    state(recipient_api, country="XX")
    ids = {
        "agreements": [agreement.public_id],
        "pairings": [bargain.pairing.public_id],
        "offers": [bargain.offer.public_id],
        "wanted-crosses": [bargain.pairing.wanted_cross.public_id],
        "plants": [bargain.offer.plant.public_id, bargain.pairing.wanted_cross.seed_parent.public_id],
    }
    for api in (donor_api, recipient_api):
        answers = everything(api, ids)
        if api is recipient_api:
            assert b"Xanadu" in answers.pop("/api/v1/me/address")
        found = [path for path, raw in answers.items() for word in SENTINELS if word in raw]
        assert (found, f"/api/v1/agreements/{agreement.public_id}" in answers) == ([], True)
    assert [word for word in SENTINELS if word in stored()] == []
    assert "agreements/<uuid:id>/address" in caplog.text
    assert [word for word in SENTINELS if word.decode() in caplog.text] == []
    assert PASSWORD not in caplog.text


def test_a_log_of_views_costs_the_same_however_long(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    state(recipient_api)
    path = f"agreements/{agree(bargain.pairing).public_id}/address"
    counts = []
    for views in (1, 4):
        while AddressView.objects.count() < views:
            assert donor_api.post(path).status == 200
        with CaptureQueriesContext(connection) as captured:
            assert len(recipient_api.get("address-views").body["results"]) == views
        counts.append(len(captured))
    assert counts == [2, 2]  # the token with its grower, the views


def test_that_customs_papers_show_the_address_is_said_where_it_is_chosen() -> None:
    schemas = described()["components"]["schemas"]
    for name in ("AgreementIn", "AcceptIn"):
        said = schemas[f"{name}Request"]["properties"]["post_from"]["description"]
        assert "customs papers usually show name and address" in said
