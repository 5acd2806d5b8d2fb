"""Pages that links in messages lead to: opening one changes nothing, its form does, without a cookie."""

import re
from typing import Any

import pytest
from django.test import Client

from exchange.models import MailChoice
from exchange.services.account import account_close
from exchange.services.mail_link import links_for
from growers.models import Grower
from tests.exchange.refusal import rows

pytestmark = pytest.mark.django_db

ONE_CLICK = {"List-Unsubscribe": "One-Click"}


@pytest.fixture
def client() -> Client:
    """Without cookies, and refused where a form of a session is asked for."""
    return Client(enforce_csrf_checks=True)


def words(response: Any) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", response.content.decode()).split())


def path(link: str) -> str:
    return link.removeprefix("http://localhost:8000")


def stop_link(grower: Grower, kind: str = "daily") -> str:
    return path(links_for(grower, kind).stop)


def night_link(grower: Grower) -> str:
    return path(links_for(grower, "daily", asks_night=True).night)


def test_opening_a_link_changes_nothing(donor: Grower, client: Client) -> None:
    before = rows()
    for link, asked in (
        (stop_link(donor), "No more of this: the daily message?"),
        (night_link(donor), "quiet hours"),
    ):
        for method in (client.get, client.head):
            response = method(link)
            assert response.status_code == 200
            assert response["Cache-Control"] == "no-store"
            assert response["X-Robots-Tag"] == "noindex"
        assert asked in words(client.get(link))
        assert re.findall(r"<form method=\"(\w+)\"", client.get(link).content.decode()) == ["post"]
    assert rows() == before


@pytest.mark.parametrize("form", [{}, ONE_CLICK], ids=["by its button", "by a mail program"])
def test_sending_its_form_stops_the_kind(donor: Grower, client: Client, form: dict[str, str]) -> None:
    for _ in range(2):
        response = client.post(stop_link(donor, "warning"), form)
        assert (response.status_code, "Set-Cookie" in response.headers) == (200, False)
        assert "You get no more of this: messages that something may be wrong with pollen" in words(response)
    assert MailChoice.objects.get(grower=donor).declined == ["warning"]


@pytest.mark.parametrize(
    ("answer", "stored", "said"), [("yes", True, "at any hour"), ("no", False, "quiet hours are kept")]
)
def test_the_question_about_nights_is_answered(
    donor: Grower, client: Client, answer: str, stored: bool, said: str
) -> None:
    response = client.post(night_link(donor), {"answer": answer})
    assert (response.status_code, said in words(response)) == (200, True)
    assert MailChoice.objects.get(grower=donor).night_calls is stored


def test_an_answer_that_is_none_is_asked_again(donor: Grower, client: Client) -> None:
    before = rows()
    response = client.post(night_link(donor), {"answer": "perhaps"})
    assert (response.status_code, "No, keep my quiet hours" in words(response)) == (400, True)
    assert rows() == before


def test_other_links_are_not_found(donor: Grower, client: Client) -> None:
    closed = stop_link(donor)
    for link in (f"{closed}x", "/mail/stop/x", "/mail/night/x", closed.replace("stop", "night")):
        assert [client.get(link).status_code, client.post(link, {"answer": "yes"}).status_code] == [404, 404]
    account_close(actor=donor)
    assert [client.get(closed).status_code, client.post(closed).status_code] == [404, 404]
    assert client.put(closed).status_code == 405
