"""The daily message: at its hour, of what is near, new or asked, each of it once."""

from datetime import date, time
from typing import Any

import pytest
from django.core import mail

from exchange.models import MailChoice, MailMessage, MailTold, Notification, Webhook
from exchange.selectors.mail_day import day_told
from exchange.services.block import block_create
from exchange.wording.mail import DayTold
from growers import clock as project_clock
from growers.models import Grower
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain
from tests.exchange.mailing import (
    at,
    decline,
    make_written_to,
    planned,
    sent,
    states,
    subjects,
    sweep,
    sweep_at,
    told,
)
from tests.exchange.receiver import make_webhook
from tests.exchange.society import NOON
from tests.factories import make_plant

pytestmark = pytest.mark.django_db

NIGHT: dict[str, Any] = {"quiet_from": time(22), "quiet_until": time(7)}


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_written_to(donor, recipient, outsider)


def test_it_comes_at_17_on_the_growers_clock_and_tells_what_is_near(
    bargain: Bargain, clock: MovableClock
) -> None:
    sweep_at(clock, "07 14:59")
    assert mail.outbox == []
    sweep_at(clock, "07 15:00")
    (message,) = sent(bargain.donor)
    assert message.subject == "Tomorrow, Thursday 8 July: Best day to post: pollen of 'Ferry'"
    stop = message.extra_headers["List-Unsubscribe"].strip("<>")
    assert message.body == (
        "Hello donor,\n\n"
        "Tomorrow, Thursday 8 July\n"
        "- Best day to post: pollen of 'Ferry'. 2 doses. Someone in this region: Europe, northern temperate."
        "\n\n-- \nPollen exchange, http://localhost:8000\n"
        f"To stop the daily message: {stop}\n"
    )
    assert subjects(bargain.donor) == [message.subject]


def test_each_date_is_told_once_and_again_if_it_has_moved(bargain: Bargain, clock: MovableClock) -> None:
    sweep_at(clock, "07 15:00")
    sweep_at(clock, "08 15:00")
    assert len(sent(bargain.donor)) == 1
    planned(bargain, post_on=date(2027, 7, 9))  # a day is no news
    sweep_at(clock, "09 15:00")
    assert len(sent(bargain.donor)) == 1
    planned(bargain, post_on=date(2027, 7, 12))
    sweep_at(clock, "11 15:00")
    assert subjects(bargain.donor)[1:] == ["Tomorrow, Monday 12 July: Best day to post: pollen of 'Ferry'"]


def test_nothing_is_sent_where_nothing_is_to_be_told(bargain: Bargain, clock: MovableClock) -> None:
    sweep_at(clock, "03 15:00")
    assert mail.outbox == []
    assert states(bargain.donor) == [("daily", "nothing_to_say")]
    assert MailTold.objects.count() == 0


def test_news_stands_in_one_message_and_what_was_read_in_none(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    first, second = (told(recipient, kind, bargain) for kind in ("pairing_changed", "pairing_withdrawn"))
    Notification.objects.filter(pk=second.pk).update(read_at=project_clock.now())
    sweep_at(clock, "01 15:00")
    sweep_at(clock, "02 15:00")
    (message,) = sent(recipient)
    assert message.subject == "What has happened until 1 July"
    assert "What has happened\n- Pollen of 'Ferry' from donor" in str(message.body)
    assert "no longer proposed" not in str(message.body)
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.mailed_in == MailMessage.objects.get(grower=recipient, state="sent")
    assert second.mailed_in is None


def test_what_is_told_while_a_message_is_made_is_left_to_the_next(
    bargain: Bargain, recipient: Grower, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    meanwhile: list[Notification] = []

    def read_and_tell(*arguments: Any) -> DayTold:
        found = day_told(*arguments)
        if arguments[0] == recipient:
            meanwhile.append(told(recipient, "pairing_withdrawn", bargain))
        return found

    clock.set(at("01 14:00"))
    first = told(recipient, "pairing_changed", bargain)
    with monkeypatch.context() as patch:
        patch.setattr("exchange.services.mail_compose.day_told", read_and_tell)
        sweep_at(clock, "01 15:00")
    (second,) = meanwhile
    for row in (first, second):
        row.refresh_from_db()
    assert (first.mailed_in is not None, second.mailed_in) == (True, None)
    sweep_at(clock, "02 15:00")
    assert [str(message.body).count("- Pollen of 'Ferry'") for message in sent(recipient)] == [1, 1]


def test_what_goes_on_is_told_beside_what_is_new_and_gives_no_message_alone(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    sweep_at(clock, "11 15:00")
    sweep_at(clock, "12 15:00")
    sweep_at(clock, "13 15:00")
    assert subjects(recipient) == ["Tomorrow, Monday 12 July: Likely to arrive: pollen of 'Ferry'"]
    assert "(until Thursday 15 July)" in str(sent(recipient)[0].body)
    told(recipient, "pairing_changed", bargain)
    clock.set(at("14 15:00"))
    Notification.objects.filter(read_at=None).update(created_at=at("14 09:00"))
    sweep()
    assert "Going on\n- Likely to arrive: pollen of 'Ferry' (until" in str(sent(recipient)[1].body)


def test_a_webhook_that_was_shut_off_is_told_once(bargain: Bargain, clock: MovableClock) -> None:
    webhook = make_webhook(bargain.donor)
    columns = {"url": "https://hooks.example/secret-path", "state": "disabled", "disabled_at": NOON}
    Webhook.objects.filter(pk=webhook.pk).update(reason="gone", **columns)
    sweep_at(clock, "01 15:00")
    sweep_at(clock, "02 15:00")
    (message,) = sent(bargain.donor)
    line = "- Nothing is sent to your webhook at hooks.example any more: it answered that it is gone.\n"
    assert line in str(message.body)
    assert "secret-path" not in str(message.body)


def test_whoever_has_no_confirmed_address_or_declined_it_gets_none(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    grower_update(actor=bargain.donor, email="new@example.org")  # not confirmed yet
    decline(recipient, "daily")
    for day in ("07", "11"):
        sweep_at(clock, f"{day} 15:00")
    assert mail.outbox == []
    assert states(bargain.donor) == states(recipient) == []


def test_a_blocked_growers_news_is_not_told(bargain: Bargain, recipient: Grower, clock: MovableClock) -> None:
    told(recipient, "pairing_changed", bargain)
    block_create(actor=recipient, blocked=bargain.donor)
    sweep_at(clock, "01 15:00")
    assert [message for message in sent(recipient) if "Ferry" in f"{message.subject}{message.body}"] == []


def test_the_daily_message_goes_before_quiet_hours_and_not_into_them(
    bargain: Bargain, clock: MovableClock
) -> None:
    grower_update(actor=bargain.donor, quiet_from=time(16), quiet_until=time(18, 30))
    sweep_at(clock, "07 13:29")
    assert sent(bargain.donor) == []
    sweep_at(clock, "07 13:30")
    assert len(sent(bargain.donor)) == 1
    sweep_at(clock, "14 14:30")  # the server was away at its hour
    assert len(sent(bargain.donor)) == 1


def test_it_is_in_the_growers_language(bargain: Bargain, clock: MovableClock) -> None:
    grower_update(actor=bargain.donor, language="de")
    sweep_at(clock, "07 15:00")
    assert "Donnerstag" in subjects(bargain.donor)[0]


def test_a_grower_of_night_bloomers_with_quiet_hours_is_asked_once(
    bargain: Bargain, clock: MovableClock
) -> None:
    make_plant(bargain.donor, group="lotos", diel="night")
    sweep_at(clock, "07 15:00")
    assert "flower at night" not in str(sent(bargain.donor)[0].body)  # no quiet hours to break
    grower_update(actor=bargain.donor, **NIGHT)
    for day, post_by in (("08", 9), ("09", 10)):
        planned(bargain, not_later_than=date(2027, 7, post_by))
        sweep_at(clock, f"{day} 15:00")
    asked = [("flower at night" in str(message.body)) for message in sent(bargain.donor)]
    assert asked == [False, True, False]
    assert MailChoice.objects.filter(grower=bargain.donor, night_asked_at__date="2027-07-08").exists()
