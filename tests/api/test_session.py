"""Sessions of the pages: what the cookie holds is in no row, what a row holds is read by our keys alone."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.test.utils import override_settings

from exchange.api.session import SessionStore
from exchange.project.keys import make_address_key
from growers import clock
from growers.models import Grower

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(donor: Grower) -> Client:
    client = Client()
    client.force_login(donor)
    return client


def handle(client: Client) -> str | None:
    answer = client.get("/api/v1/me")
    return str(answer.json()["handle"]) if answer.status_code == 200 else None


def test_a_row_opens_no_session(session: Client) -> None:
    (row,) = Session.objects.all()
    cookie = session.cookies["sessionid"]
    assert (handle(session), len(row.session_key)) == ("donor", 40)
    assert row.session_key != cookie.value
    cookie.set(cookie.key, row.session_key, row.session_key)
    assert handle(session) is None


def test_a_session_is_found_kept_and_ended_by_its_key(session: Client) -> None:
    key = session.cookies["sessionid"].value
    store = SessionStore(key)
    assert store.exists(key) and not store.exists("another")
    store["seen"] = "a heron"
    store.save()
    assert SessionStore(key)["seen"] == "a heron"
    assert "heron" not in Session.objects.get().session_data
    session.logout()
    assert not Session.objects.exists()
    assert SessionStore(key).load() == {}


def test_an_old_session_is_none(session: Client) -> None:
    Session.objects.update(expire_date=clock.true_now() - timedelta(seconds=1))
    assert handle(session) is None


def test_keys_are_changed_without_signing_anybody_out_until_the_old_one_is_dropped(session: Client) -> None:
    new = make_address_key()
    with override_settings(ADDRESS_KEYS=(new, *settings.ADDRESS_KEYS)):
        assert handle(session) == "donor"
    with override_settings(ADDRESS_KEYS=(new,)):
        assert handle(session) is None
    assert handle(session) == "donor"
