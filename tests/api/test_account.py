"""The account pages: sign-up by our service, confirmation, no enumeration, second factor, reset."""

import re

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.core import mail
from django.core.cache import cache
from django.test import Client

from exchange.models import ApiToken, IdempotentAnswer
from growers.models import Change, Grower
from tests.api.caller import PASSWORD, Caller, caller, make_member
from tests.api.test_token import code_now
from tests.factories import make_grower, make_plant

pytestmark = pytest.mark.django_db

NEW = {"email": "new@example.org", "password1": PASSWORD, "handle": "newcomer"}


@pytest.fixture
def client(db: None) -> Client:
    cache.clear()
    return Client()


def link(pattern: str) -> str:
    """The address in the last mail."""
    found = re.search(rf"http://testserver({pattern}\S*)", str(mail.outbox[-1].body))
    assert found is not None
    return found[1]


def test_sign_up_makes_a_grower_by_the_service_who_confirms(client: Client) -> None:
    answer = client.post("/account/signup/", NEW)
    assert (answer.status_code, answer["Location"]) == (302, "/account/confirm-email/")
    grower = Grower.objects.get()
    assert (grower.handle, grower.email, grower.check_password(PASSWORD)) == (
        "newcomer",
        "new@example.org",
        True,
    )
    assert Change.objects.filter(kind="grower", subject_id=grower.pk).exists()
    assert client.get("/api/v1/me").status_code == 401
    address = link("/account/confirm-email/")
    assert client.get(address).status_code == 200
    assert not EmailAddress.objects.get().verified
    client.post(address)
    assert EmailAddress.objects.get().verified
    client.post("/account/login/", {"login": "NEW@example.org", "password": PASSWORD})
    assert client.get("/api/v1/me").json()["handle"] == "newcomer"


def test_an_address_in_use_is_told_to_its_owner_only(client: Client) -> None:
    fresh = client.post("/account/signup/", NEW)
    cache.clear()  # one mail in three minutes
    again = Client().post("/account/signup/", {**NEW, "handle": "another one"})
    assert (again.status_code, again["Location"], again.content) == (
        fresh.status_code,
        fresh["Location"],
        fresh.content,
    )
    assert Grower.objects.count() == 1
    assert len(mail.outbox) == 2 and mail.outbox[1].to == ["new@example.org"]


def test_a_handle_is_checked_by_its_rules(client: Client) -> None:
    make_grower("outsider")
    for handle in ("0utsider", "admin", "x"):
        answer = client.post("/account/signup/", {**NEW, "handle": handle})
        assert answer.status_code == 200
        assert "handle" in answer.context["form"].errors
    assert Grower.objects.count() == 1 and mail.outbox == []


def test_a_reset_reads_the_same_for_known_and_unknown(client: Client) -> None:
    make_member("known")
    answers = [
        Client().post("/account/password/reset/", {"email": email})
        for email in ("known@example.org", "unknown@example.org")
    ]
    assert {(answer.status_code, answer["Location"]) for answer in answers} == {
        (302, "/account/password/reset/done/")
    }
    assert [sent.to for sent in mail.outbox] == [["known@example.org"], ["unknown@example.org"]]


def test_a_reset_sets_a_new_password_and_ends_sessions(client: Client) -> None:
    known = make_member("known")
    elsewhere, client_with_token = Client(), caller(known)
    elsewhere.force_login(known)
    client.post("/account/password/reset/", {"email": "known@example.org"})
    opened = client.get(link("/account/password/reset/key/"), follow=True)
    new = "another pond by the mill"
    client.post(opened.request["PATH_INFO"], {"password1": new, "password2": new})
    assert Grower.objects.get().check_password(new)
    assert elsewhere.get("/api/v1/me").status_code == 401
    assert client_with_token.get("me").code == "token_invalid"


def signed_in(grower: Grower) -> Client:
    """A session of the pages that has just signed in, so that it need not do so once more."""
    session = Client()
    session.post("/account/login/", {"login": grower.email, "password": PASSWORD})
    return session


def test_an_address_is_changed_by_the_service_once_it_is_confirmed(client: Client) -> None:
    known = make_member("known")
    session = signed_in(known)
    Change.objects.all().delete()
    session.post("/account/email/", {"action_add": "", "email": "Other@example.org"})
    known.refresh_from_db()
    assert (known.email, Change.objects.count()) == ("known@example.org", 0)
    assert [sent.to for sent in mail.outbox] == [["other@example.org"]]
    session.post(link("/account/confirm-email/"))
    known.refresh_from_db()
    assert known.email == "other@example.org"
    assert list(Change.objects.values_list("kind", "subject_id")) == [("grower", known.pk)]
    (address,) = EmailAddress.objects.all()
    assert (address.email, address.verified, address.primary) == ("other@example.org", True, True)
    # The old address is told too: it may not have been its owner who changed it.
    assert mail.outbox[-1].to == ["known@example.org"] and "other@example.org" in mail.outbox[-1].body
    with_old = Client()
    with_old.post("/account/login/", {"login": "known@example.org", "password": PASSWORD})
    assert with_old.get("/api/v1/me").status_code == 401
    assert signed_in(known).get("/api/v1/me").json()["email"] == "other@example.org"


def test_a_change_to_an_address_in_use_reads_like_any_other(client: Client) -> None:
    known, other = make_member("known"), make_member("other")
    answers = []
    for email in ("other@example.org", "unknown@example.org"):
        cache.clear()  # one mail in three minutes
        answer = signed_in(known).post("/account/email/", {"action_add": "", "email": email})
        answers.append((answer.status_code, answer["Location"]))
    assert answers == [(302, "/account/email/")] * 2
    assert [sent.to for sent in mail.outbox] == [["other@example.org"], ["unknown@example.org"]]
    known.refresh_from_db()
    other.refresh_from_db()
    assert (known.email, other.email) == ("known@example.org", "other@example.org")


def test_an_address_that_another_came_to_use_meanwhile_is_not_taken(client: Client) -> None:
    known = make_member("known")
    session = signed_in(known)
    session.post("/account/email/", {"action_add": "", "email": "other@example.org"})
    make_member("other", confirmed=False)
    Change.objects.all().delete()
    assert session.post(link("/account/confirm-email/")).status_code == 302
    known.refresh_from_db()
    assert (known.email, Change.objects.count(), len(mail.outbox)) == ("known@example.org", 0, 1)
    assert not EmailAddress.objects.get(email="other@example.org").verified


def test_a_change_that_cannot_be_noted_is_not_made(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    known = make_member("known")
    session = signed_in(known)
    session.raise_request_exception = False
    session.post("/account/email/", {"action_add": "", "email": "other@example.org"})

    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("no room for a note")

    monkeypatch.setattr(Change.objects, "bulk_create", fails)
    assert session.post(link("/account/confirm-email/")).status_code == 500
    known.refresh_from_db()
    assert known.email == "known@example.org"
    assert not EmailAddress.objects.get(email="other@example.org").verified


def test_a_second_factor_is_set_and_asked_for(client: Client) -> None:
    known = make_member("known")
    login = {"login": "known@example.org", "password": PASSWORD}
    client.post("/account/login/", login)
    assert client.get("/account/2fa/totp/activate/")["Location"].startswith("/account/reauthenticate/")
    client.post("/account/reauthenticate/", {"password": PASSWORD})
    page = client.get("/account/2fa/totp/activate/")
    secret = page.context["form"].secret
    client.post("/account/2fa/totp/activate/", {"code": code_now(secret)})
    stored = str(list(Authenticator.objects.values_list("data", flat=True)))
    assert Authenticator.objects.filter(user=known, type="totp").exists() and secret not in stored
    cache.clear()
    other = Client()
    other.post("/account/login/", login)
    assert other.get("/api/v1/me").status_code == 401
    other.post("/account/2fa/authenticate/", {"code": code_now(secret)})
    assert other.get("/api/v1/me").status_code == 200


def test_an_account_is_closed_in_a_session_and_the_person_is_gone(client: Client) -> None:
    known = make_member("known")
    with_token = caller(known)
    plant = make_plant(known)
    refused = with_token.delete("me")
    assert (refused.status, refused.code) == (403, "sign_in_itself_needed")
    client.force_login(known)
    with_token.post("sites", {"name": "x", "country": "FR", "latitude_deg": 1, "longitude_deg": 1})
    assert Caller(client=client).delete("me").status == 204
    known.refresh_from_db()
    assert (known.email, known.name, known.handle) == (None, "", "former grower")
    assert client.get("/api/v1/me").status_code == 401
    assert with_token.get("me").code == "token_invalid"
    for model in (EmailAddress, Authenticator, ApiToken, IdempotentAnswer):
        assert not model.objects.exists()
    plant.refresh_from_db()
    assert plant.grower == known
