"""What a grower is written about, through the API."""

from datetime import timedelta
from typing import Any

import pytest

from exchange.models import MailChoice
from growers import clock as project_clock
from growers.models import Grower
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

UNSAID: dict[str, Any] = {"declined": [], "night_calls": None, "night_asked_at": None, "rests_until": None}


@pytest.fixture(autouse=True)
def noon(clock: MovableClock) -> None:
    clock.set(NOON)


def test_who_has_chosen_nothing_is_written_about_everything(donor_api: Caller) -> None:
    answer = donor_api.get("me/mail")
    assert (answer.status, answer.body) == (200, UNSAID)
    assert not MailChoice.objects.exists()


def test_choices_are_changed_for_oneself_alone(donor_api: Caller, recipient_api: Caller) -> None:
    tag = donor_api.get("me/mail")["ETag"]
    body = {"declined": ["warning", "daily"], "night_calls": False}
    answer = donor_api.patch("me/mail", body, if_match=tag)
    assert (answer.status, answer.body["declined"], answer.body["night_calls"]) == (
        200,
        ["daily", "warning"],
        False,
    )
    assert donor_api.get("me/mail").body == answer.body
    assert donor_api.patch("me/mail", {"declined": []}, if_match=tag).status == 412
    assert recipient_api.get("me/mail").body == UNSAID


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ({"declined": ["weekly"]}, 422, "/declined"),
        ({"declined": "daily"}, 400, "/declined"),
        ({"night_calls": "yes"}, 400, "/night_calls"),
        ({"rests_until": None}, 400, "/rests_until"),
    ],
)
def test_what_does_not_fit_is_refused(donor_api: Caller, body: object, status: int, pointer: str) -> None:
    donor_api.get("me/mail")  # the first use of a token is noted
    before = rows()
    answer = donor_api.patch("me/mail", body, if_match="*")
    assert (answer.status, answer.body["errors"][0]["pointer"]) == (status, pointer)
    assert rows() == before


def test_an_address_that_rests_is_shown_while_it_is_the_growers(donor: Grower, donor_api: Caller) -> None:
    until = project_clock.now() + timedelta(days=7)
    choice = MailChoice.objects.create(grower=donor, refused_email=str(donor.email), rests_until=until)
    assert donor_api.get("me/mail").body["rests_until"] == until.isoformat().replace("+00:00", "Z")
    MailChoice.objects.filter(pk=choice.pk).update(refused_email="old@example.org")
    assert donor_api.get("me/mail").body["rests_until"] is None
