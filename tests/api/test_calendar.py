"""Calendar feeds through the API: made with an address that is shown once, listed without it, revoked."""

import re

import pytest
from django.test import Client

from exchange.models import CalendarFeed, IdempotentAnswer
from growers.models import Grower
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"
FEED = {"name": "telephone"}


@pytest.fixture(autouse=True)
def noon(clock: MovableClock) -> None:
    clock.set(NOON)


def test_the_address_is_shown_once_and_leads_to_the_calendar(donor: Grower, donor_api: Caller) -> None:
    made = donor_api.post("calendar-feeds", {"name": " telephone "}, idempotency_key=KEY)
    feed = CalendarFeed.objects.get()
    assert (feed.grower, feed.name) == (donor, "telephone")
    address = made.body["address"]
    found = re.fullmatch(r"http://testserver/calendar/([A-Za-z0-9_-]{43})\.ics", address)
    assert found
    shown = {
        "id": str(feed.public_id),
        "name": "telephone",
        "created_at": feed.created_at.isoformat().replace("+00:00", "Z"),
        "last_read_at": None,
    }
    assert (made.status, made.body) == (201, {**shown, "address": address})
    assert made["Location"] == f"/api/v1/calendar-feeds/{feed.public_id}"
    assert donor_api.get("calendar-feeds").body["results"] == [shown]
    assert donor_api.get(made["Location"]).body == shown
    assert Client().get(address).status_code == 200
    assert donor_api.get(made["Location"]).body["last_read_at"] is not None
    assert found[1] not in str([*CalendarFeed.objects.values(), *IdempotentAnswer.objects.values()])


def test_it_is_not_shown_a_second_time(donor_api: Caller) -> None:
    assert donor_api.post("calendar-feeds", FEED, idempotency_key=KEY).status == 201
    again = donor_api.post("calendar-feeds", FEED, idempotency_key=KEY)
    assert (again.status, again.code) == (409, "secret_already_shown")
    assert CalendarFeed.objects.count() == 1


def test_a_name_that_does_not_do_is_refused_and_nothing_is_made(donor_api: Caller) -> None:
    assert donor_api.post("calendar-feeds", FEED).status == 201
    before = CalendarFeed.objects.count()
    for body, status in (({}, 400), ({"name": "x" * 61}, 400), ({"name": 3}, 400), ({"name": " "}, 422)):
        answer = donor_api.post("calendar-feeds", body)
        assert (answer.status, answer.body["errors"][0]["pointer"]) == (status, "/name"), body
    taken = donor_api.post("calendar-feeds", FEED)
    assert (taken.status, taken.body["errors"]) == (
        422,
        [
            {
                "pointer": "/name",
                "code": "taken",
                "detail": "name is 'telephone'; allowed: a name that none of your calendar feeds has yet.",
                "allowed": "a name that none of your calendar feeds has yet",
            }
        ],
    )
    assert CalendarFeed.objects.count() == before


def test_one_that_is_revoked_is_not_found(donor_api: Caller) -> None:
    made = donor_api.post("calendar-feeds", FEED)
    assert Client().get(made.body["address"]).status_code == 200
    assert donor_api.call("DELETE", made["Location"]).status == 428
    assert donor_api.call("DELETE", made["Location"], if_match="*").status == 204
    assert Client().get(made.body["address"]).status_code == 404
    assert donor_api.get(made["Location"]).status == 404


def test_another_s_feed_is_not_found(donor_api: Caller, recipient_api: Caller) -> None:
    location = donor_api.post("calendar-feeds", FEED)["Location"]
    assert recipient_api.get("calendar-feeds").body["results"] == []
    before = rows()["exchange_calendarfeed"]
    answers = [recipient_api.get(location), recipient_api.call("DELETE", location, if_match="*")]
    assert [answer.status for answer in answers] == [404, 404]
    assert rows()["exchange_calendarfeed"] == before


def test_a_token_that_only_reads_makes_none(donor: Grower) -> None:
    answer = caller(donor, "read").post("calendar-feeds", FEED)
    assert (answer.status, CalendarFeed.objects.count()) == (403, 0)
