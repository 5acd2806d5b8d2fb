"""Tokens: made by signing in, shown once, hashed, scoped, expiring, revoked at once."""

from datetime import timedelta
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from allauth.mfa.totp.internal.auth import yield_hotp_counters_from_time as counters
from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from exchange.models import ApiToken, IdempotentAnswer
from growers.models import Grower
from growers.services.grower import grower_close
from tests.api.caller import PASSWORD, Caller, caller, make_member

pytestmark = pytest.mark.django_db

KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"


@pytest.fixture
def member(db: None) -> Grower:
    """A grower with a password and a confirmed address."""
    cache.clear()
    return make_member()


def sign_in(**changed: Any) -> dict[str, Any]:
    return {"email": "member@example.org", "password": PASSWORD, "name": "laptop", **changed}


def test_a_token_is_shown_once_and_kept_as_a_hash(member: Grower, nobody: Caller) -> None:
    made = nobody.post("tokens", sign_in(scopes=["write", "read"]))
    assert made.status == 201
    secret = made.body["secret"]
    token = ApiToken.objects.get(user=member)
    assert secret.startswith("pollen_") and len(secret) == 64 + len("pollen_")
    assert made.body == {
        "id": str(token.public_id),
        "name": "laptop",
        "beginning": secret[:15],
        "scopes": ["read", "write"],
        "created_at": token.created_at.isoformat().replace("+00:00", "Z"),
        "expires_at": token.expiry.isoformat().replace("+00:00", "Z"),
        "last_used_at": None,
        "secret": secret,
    }
    assert made["Location"] == f"/api/v1/tokens/{token.public_id}"
    assert token.expiry - token.created_at - timedelta(days=90) < timedelta(seconds=5)
    assert secret not in str([*ApiToken.objects.values(), *IdempotentAnswer.objects.values()])
    listed = Caller(secret).get("tokens").body["results"]
    assert [set(each) for each in listed] == [set(made.body) - {"secret"}]


def test_the_secret_is_not_shown_a_second_time(member: Grower, nobody: Caller) -> None:
    assert nobody.post("tokens", sign_in(), idempotency_key=KEY).status == 201
    again = nobody.post("tokens", sign_in(), idempotency_key=KEY)
    assert (again.status, again.code) == (409, "secret_already_shown")
    other = nobody.post("tokens", sign_in(name="desk"), idempotency_key=KEY)
    assert (other.status, other.code) == (422, "key_reused")
    assert ApiToken.objects.count() == 1


def test_every_failure_to_sign_in_reads_the_same(member: Grower, nobody: Caller) -> None:
    make_member("unconfirmed", confirmed=False)
    grower_close(actor=make_member("closed"))
    answers = [
        nobody.post("tokens", sign_in(**changed), x_request_id="the-same-for-all")
        for changed in (
            {"email": "nobody@example.org"},
            {"password": "wrong wrong wrong"},
            {"email": "unconfirmed@example.org"},
            {"email": "closed@example.org"},
        )
    ]
    assert {answer.status for answer in answers} == {401}
    assert len({answer.response.content for answer in answers}) == 1
    assert answers[0].code == "sign_in_failed"
    assert answers[0]["WWW-Authenticate"].startswith("Bearer realm=")
    assert ApiToken.objects.count() == IdempotentAnswer.objects.count() == 0


def code_now(secret: str) -> str:
    return str(format_hotp_value(hotp_value(secret, next(counters()))))


def test_a_second_factor_is_asked_for_and_its_code_works_once(member: Grower, nobody: Caller) -> None:
    secret = generate_totp_secret()
    TOTP.activate(member, secret)
    stored = Authenticator.objects.get(user=member).data["secret"]
    assert secret not in stored
    assert nobody.post("tokens", sign_in()).code == "sign_in_failed"
    assert nobody.post("tokens", sign_in(code="000000x")).code == "sign_in_failed"
    code = code_now(secret)
    assert nobody.post("tokens", sign_in(code=code, password="wrong wrong")).code == "sign_in_failed"
    assert nobody.post("tokens", sign_in(code=code)).status == 201
    assert nobody.post("tokens", sign_in(code=code)).code == "sign_in_failed"


def test_too_many_attempts_are_refused_for_known_and_unknown_alike(
    member: Grower, nobody: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "SIGN_INS_PER_MINUTE", 0)
    for email in ("member@example.org", "nobody@example.org"):
        refused = nobody.post("tokens", sign_in(email=email))
        assert (refused.status, refused.code) == (429, "too_many_requests")
        assert 1 <= int(refused["Retry-After"]) <= 60


def test_a_session_makes_tokens_with_csrf_only(member: Grower) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(member)
    in_session = Caller(client=client)
    refused = in_session.post("tokens", {"name": "laptop"})
    assert (refused.status, refused.code) == (403, "csrf_failed")
    client.get("/account/email/")
    token = client.cookies["csrftoken"].value
    made = in_session.post("tokens", {"name": "laptop"}, x_csrftoken=token)
    assert (made.status, made.body["scopes"]) == (201, ["read"])


def test_a_token_makes_no_token(donor_api: Caller) -> None:
    refused = donor_api.post("tokens", {"name": "child"})
    assert (refused.status, refused.code) == (403, "sign_in_itself_needed")
    assert ApiToken.objects.count() == 1


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        ({"name": "x", "scopes": ["all"]}, {"/scopes/0": "invalid_choice"}),
        ({"name": "x", "scopes": []}, {"/scopes": "min_length"}),
        ({"name": "x", "lifetime_days": "90"}, {"/lifetime_days": "invalid"}),
        ({"name": "x", "lifetime_days": 367}, {"/lifetime_days": "max_value"}),
        ({"name": 7, "digest": "x"}, {"/name": "invalid", "/digest": "unknown_field"}),
        ({"name": "x", "user": 1}, {"/user": "unknown_field"}),
        ({}, {"/name": "required"}),
        ([], {"": "invalid"}),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(nobody: Caller, body: Any, faults: dict[str, str]) -> None:
    refused = nobody.post("tokens", body)
    assert (refused.status, refused.code, refused.faults) == (400, "does_not_fit", faults)


def test_scopes_bind(donor: Grower) -> None:
    reader, writer, feed = caller(donor, "read"), caller(donor, "write"), caller(donor, "feed")
    assert reader.get("me").status == 200
    refused = reader.call("PATCH", "me", {"name": "x"}, if_match="*")
    assert (refused.status, refused.code) == (403, "scope_missing")
    assert 'error="insufficient_scope", scope="write"' in refused["WWW-Authenticate"]
    assert writer.get("me").code == feed.get("me").code == "scope_missing"
    assert writer.call("PATCH", "me", {"name": "x"}, if_match="*").status == 200


def test_without_a_good_token_there_is_a_way_to_sign_in(nobody: Caller, donor: Grower) -> None:
    answer = nobody.get("me")
    assert (answer.status, answer.code, answer["WWW-Authenticate"]) == (
        401,
        "sign_in_needed",
        'Bearer realm="pollen exchange"',
    )
    for bad in ("pollen_0000", f"{caller(donor).token[:-1]}x", "ÿ", "a b"):
        answer = Caller(bad).get("me")
        assert (answer.status, answer.code) == (401, "token_invalid")
        assert 'error="invalid_token"' in answer["WWW-Authenticate"]


def test_tokens_end(donor: Grower, donor_api: Caller) -> None:
    mine = donor_api.get("tokens").body["results"][0]
    ApiToken.objects.update(expiry=ApiToken.objects.get().created_at)
    assert donor_api.get("me").code == "token_invalid"
    again = caller(donor)
    assert again.delete(f"tokens/{mine['id']}").status == 204
    assert ApiToken.objects.count() == 1
    own = again.get("tokens").body["results"][0]["id"]
    assert again.delete(f"tokens/{own}").status == 204
    assert again.get("me").code == "token_invalid"


def test_a_closed_account_has_no_working_token(donor: Grower, donor_api: Caller) -> None:
    grower_close(actor=donor)
    assert donor_api.get("me").code == "token_invalid"


def test_anothers_token_is_not_there(donor_api: Caller, outsider_api: Caller) -> None:
    mine = donor_api.get("tokens").body["results"][0]["id"]
    for answer in (
        outsider_api.get(f"tokens/{mine}"),
        outsider_api.delete(f"tokens/{mine}"),
        outsider_api.call("PATCH", f"tokens/{mine}", {"name": "x"}, if_match="*"),
    ):
        assert (answer.status, answer.code) == (404, "not_found")
    assert donor_api.patch(f"tokens/{mine}", {"name": "desk"}).body["name"] == "desk"


def test_a_token_costs_one_query_and_is_noted_seldom(donor_api: Caller) -> None:
    donor_api.get("me")
    noted = ApiToken.objects.get().last_used_at
    assert noted is not None
    with CaptureQueriesContext(connection) as queries:
        donor_api.get("me")
    assert len(queries) == 2  # the token with its grower, and the grower's settings
    assert ApiToken.objects.get().last_used_at == noted


def test_tokens_are_limited_in_number(donor: Grower, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("exchange.services.api_token.MOST_TOKENS", 1)
    client = Client()
    client.force_login(donor)
    in_session = Caller(client=client)
    assert in_session.post("tokens", {"name": "one"}).status == 201
    refused = in_session.post("tokens", {"name": "two"})
    assert (refused.status, refused.code, refused.faults) == (422, "invalid_input", {"/name": "too_many"})
