"""The calendar feed at its secret address: who reads it, how it is sent, and what is not found."""

import logging
from functools import partial
from io import StringIO
from typing import Any

import icalendar
import pytest
from django.conf import settings
from django.core.cache import cache
from django.http import HttpResponse
from django.test import Client

from exchange.models import CalendarEntry, CalendarFeed
from exchange.project.log import log_settings
from exchange.services.account import account_close
from exchange.services.calendar_feed import MOST_FEEDS, feed_create, feed_revoke
from growers.errors import NotFound
from growers.models import Grower
from growers.services.grower import grower_update
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.bargain import agree, make_bargain
from tests.exchange.calendar import read
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON
from tests.log_watch import our_handlers

pytestmark = pytest.mark.django_db


@pytest.fixture
def secret(donor: Grower, recipient: Grower, clock: MovableClock) -> str:
    """Of a feed of the donor's, who has an agreement."""
    clock.set(NOON)
    cache.clear()
    agree(make_bargain(donor, recipient).pairing)
    return feed_create(actor=donor, name="telephone").secret


def ask(secret: str, **headers: str) -> HttpResponse:
    response = Client().get(f"/calendar/{secret}.ics", headers=headers)
    assert isinstance(response, HttpResponse)
    return response


def uids(response: HttpResponse) -> list[str]:
    return [event.uid[:-37] for event in read(response.content)]


def without_id(response: HttpResponse) -> list[tuple[str, str]]:
    return sorted(each for each in response.items() if each[0] != "X-Request-Id")


def test_whoever_knows_the_address_reads_the_calendar(secret: str) -> None:
    response = ask(secret)
    assert response.status_code == 200
    assert uids(response) == ["donor-post-by", "donor-post-on", "donor-reserved-until"]
    told = {
        name: response[name] for name in ("Content-Type", "Cache-Control", "Referrer-Policy", "X-Robots-Tag")
    }
    assert told == {
        "Content-Type": "text/calendar; charset=utf-8",
        "Cache-Control": "private, no-cache",
        "Referrer-Policy": "no-referrer",
        "X-Robots-Tag": "noindex",
    }
    assert not response.cookies


def test_each_reads_their_own(secret: str, donor: Grower, recipient: Grower, outsider: Grower) -> None:
    others = {who.handle: ask(feed_create(actor=who, name="x").secret) for who in (recipient, outsider)}
    assert uids(others["recipient"]) == ["recipient-arrival", "recipient-reserved-until"]
    assert uids(others["outsider"]) == []
    for name, response in (("donor", ask(secret)), *others.items()):
        text = response.content.decode().replace("\r\n ", "")
        for other in {donor.handle, recipient.handle} - {name}:
            assert f" {other}" not in text.replace("seed of recipient", "")
        assert "@" not in text and "pond" not in text


def test_it_is_sent_anew_only_when_it_changed(secret: str, clock: MovableClock) -> None:
    first = ask(secret)
    clock.move(hours=5)
    assert ask(secret, if_none_match=first["ETag"]).status_code == 304
    assert ask(secret).content == first.content
    CalendarEntry.objects.update(digest="another")
    assert ask(secret, if_none_match=first["ETag"]).status_code == 200


def test_only_get_and_head_are_answered(secret: str) -> None:
    whole, head = ask(secret), Client().head(f"/calendar/{secret}.ics")
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", whole["ETag"])
    for method in ("post", "put", "patch", "delete"):
        assert getattr(Client(enforce_csrf_checks=True), method)(f"/calendar/{secret}.ics").status_code == 405


def test_unknown_revoked_and_nowhere_are_answered_alike(secret: str, donor: Grower) -> None:
    feed_revoke(actor=donor, feed=CalendarFeed.objects.get())
    answers = [ask(secret), ask("x" * 43), ask("ü"), ask("there/is/no/such")]
    assert {(answer.status_code, answer.content) for answer in answers} == {(404, answers[-1].content)}
    assert len({str(without_id(answer)) for answer in answers}) == 1


def test_with_the_account_its_feeds_and_entries_are_gone(secret: str, donor: Grower) -> None:
    assert ask(secret).status_code == 200
    account_close(actor=donor)
    assert ask(secret).status_code == 404
    assert (CalendarFeed.objects.count(), CalendarEntry.objects.count()) == (0, 0)


def test_the_secret_opens_nothing_else(secret: str) -> None:
    assert Caller(secret).get("me").status == 401
    assert Caller(f"pollen_{secret}").get("me").status == 401


def test_the_secret_is_kept_nowhere(secret: str) -> None:
    ask(secret)
    assert len(secret) == 43
    assert secret not in str([*CalendarFeed.objects.values(), *CalendarEntry.objects.values()])


def test_the_log_names_the_route_and_never_the_secret(secret: str, monkeypatch: pytest.MonkeyPatch) -> None:
    (handler,) = our_handlers()
    stream, level = StringIO(), logging.getLogger("exchange.request").level
    monkeypatch.setattr(handler, "stream", stream)
    logging.getLogger("exchange.request").setLevel(logging.INFO)
    feed = f"/calendar/{secret}.ics"
    try:
        for send in (Client().get, Client().head, Client().post):
            send(feed)
        ask(f"{secret}x")
        monkeypatch.setattr("exchange.web.calendar.feed_read", lambda **_: 1 / 0)
        assert Client(raise_request_exception=False).get(feed).status_code == 500
        logging.getLogger("django.request").error("Not found: %s", feed)
    finally:
        logging.getLogger("exchange.request").setLevel(level)
    assert secret not in stream.getvalue()
    assert "Not found: /calendar/[key]" in stream.getvalue()
    assert log_settings("INFO", "line")["loggers"]["exchange.request"] == {"level": "INFO"}


def test_reading_is_noted_to_a_few_minutes(secret: str, clock: MovableClock) -> None:
    noted: list[Any] = []
    for minutes in (0, 4, 2):
        clock.move(minutes=minutes)
        ask(secret)
        noted.append(CalendarFeed.objects.get().last_read_at)
    assert noted[0] == noted[1] < noted[2]


def test_it_is_told_in_the_language_of_its_grower(secret: str, donor: Grower) -> None:
    grower_update(actor=donor, language="en")
    assert ask(secret, accept_language="de").content == ask(secret).content


def test_a_network_that_asks_too_often_waits(secret: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settings, "GUEST_REQUESTS_PER_MINUTE", 2)
    cache.clear()
    answers = [ask(secret) for _ in range(3)]
    assert [each.status_code for each in answers] == [200, 200, 429]
    assert b"VCALENDAR" not in answers[2].content
    cache.clear()


def test_a_name_is_needed_once_and_feeds_are_not_too_many(secret: str, donor: Grower) -> None:
    for name, detail in (
        ("", "name is missing; allowed: 1 to 60 characters."),
        ("a\r\nb", r"name is 'a\r\nb'; allowed: text without control or invisible characters."),
        ("telephone", "name is 'telephone'; allowed: a name that none of your calendar feeds has yet."),
    ):
        assert problems(partial(feed_create, actor=donor, name=name)) == {"/name": detail}
    for number in range(MOST_FEEDS - 1):
        feed_create(actor=donor, name=f"another {number}")
    assert problems(partial(feed_create, actor=donor, name="one more")) == {
        "/name": "You have 10 calendar feeds; revoke one that is not read any more."
    }


def test_nobody_revokes_the_feed_of_another(secret: str, recipient: Grower) -> None:
    feed = CalendarFeed.objects.get()
    error = refused(lambda: feed_revoke(actor=recipient, feed=feed), NotFound)
    assert error.detail == "There is no such calendar feed."


def test_names_with_line_ends_make_no_line(secret: str, donor: Grower) -> None:
    plant = donor.plants.get()
    plant.name_as_grown = "'A'\r\nBEGIN:VEVENT\r\nUID:x"
    plant.save()
    response = ask(secret)
    assert len(icalendar.Calendar.from_ical(response.content).walk("VEVENT")) == 3
    assert len(uids(response)) == 3
