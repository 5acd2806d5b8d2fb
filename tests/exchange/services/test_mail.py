"""Messages to growers: the daily one at its hour, deadlines and warnings at once, each event once."""

import smtplib
from datetime import date, time
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from exchange.models import CustodyEvent, MailChoice, MailMessage, MailTold, Notification, Pairing, Webhook
from exchange.selectors.mail_day import day_told
from exchange.selectors.plan_record import plan_record
from exchange.services.account import account_close
from exchange.services.block import block_create
from exchange.services.bud_call import bud_calls_make
from exchange.services.collection import offer_collect
from exchange.services.custody import custody_note
from exchange.services.incident import WhatHappened, lot_incident
from exchange.services.lot_tell import custody_tell
from exchange.services.mail import PAUSES, message_due, messages_make
from exchange.wording.mail import DayTold
from growers import clock as project_clock
from growers.models import Grower
from growers.services.bloom import bloom_bud_seen
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain
from tests.exchange.mailing import at, confirmed, decline, sent, states, subjects, sweep
from tests.exchange.plan import a_plan, planned_dates
from tests.exchange.receiver import make_webhook
from tests.exchange.society import NOON, TODAY
from tests.factories import make_plant

pytestmark = pytest.mark.django_db

POST_BY = "donor-post-by"
DATES: dict[str, Any] = {
    "post_on": date(2027, 7, 8),
    "not_later_than": date(2027, 7, 15),
    "arrival_half": date(2027, 7, 12),
    "arrival_nine_tenths": date(2027, 7, 15),
}
NIGHT: dict[str, Any] = {"quiet_from": time(22), "quiet_until": time(7)}


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Bargain:
    """Agreed at noon, in Paris zone; nobody has read anything. Both have a confirmed address."""
    clock.set(NOON)
    made = make_bargain(confirmed(donor, zone="Europe/Paris"), confirmed(recipient, zone="Europe/Paris"))
    confirmed(outsider, zone="Europe/Paris")
    planned(made)
    agree(made.pairing)
    Notification.objects.update(read_at=project_clock.now())
    return made


def planned(bargain: Bargain, **changes: Any) -> None:
    """Let the pairing that stands have these dates."""
    dates = {**DATES, **changes}
    plan = plan_record(a_plan(precision="days", dates=planned_dates(**dates)))
    columns = {"post_on": dates["post_on"], "not_later_than": dates["not_later_than"]}
    Pairing.objects.filter(pk=bargain.pairing.pk).update(plan=plan, timeline=None, **columns)


def sweep_at(clock: MovableClock, text: str) -> None:
    clock.set(at(text))
    sweep()


# --- the daily message ---


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
    first, second = (
        Notification.objects.create(grower=recipient, kind=kind, pairing=bargain.pairing)
        for kind in ("pairing_changed", "pairing_withdrawn")
    )
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
    def told(kind: str) -> Notification:
        now = project_clock.now()
        return Notification.objects.create(
            grower=recipient, kind=kind, pairing=bargain.pairing, created_at=now
        )

    meanwhile: list[Notification] = []

    def read_and_tell(*arguments: Any) -> DayTold:
        found = day_told(*arguments)
        if arguments[0] == recipient:
            meanwhile.append(told("pairing_withdrawn"))
        return found

    clock.set(at("01 14:00"))
    first = told("pairing_changed")
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
    Notification.objects.create(grower=recipient, kind="pairing_changed", pairing=bargain.pairing)
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
    Notification.objects.create(grower=recipient, kind="pairing_changed", pairing=bargain.pairing)
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


# --- days to post that cannot wait ---


def test_a_last_day_is_told_by_the_daily_message_before_it_and_not_again(
    bargain: Bargain, clock: MovableClock
) -> None:
    sweep_at(clock, "14 14:59")
    assert sent(bargain.donor) == []
    for hour in ("14 15:00", "14 15:01", "15 05:00", "15 15:00", "16 05:00"):
        sweep_at(clock, hour)
    assert subjects(bargain.donor) == [
        "Tomorrow, Thursday 15 July: Post not later than this day: pollen of 'Ferry'"
    ]
    assert "Tomorrow, Thursday 15 July\n- Post not later than this day: pollen of 'Ferry'. 2 doses." in str(
        sent(bargain.donor)[0].body
    )


def test_one_that_comes_up_later_is_told_at_once(bargain: Bargain, clock: MovableClock) -> None:
    sweep_at(clock, "07 15:00")
    clock.set(at("07 18:00"))
    planned(bargain, not_later_than=date(2027, 7, 8))
    sweep()
    sweep()
    assert subjects(bargain.donor)[1:] == [
        "Tomorrow, Thursday 8 July: Post not later than this day: pollen of 'Ferry'"
    ]
    body = str(sent(bargain.donor)[1].body)
    assert "What decides this date" in body
    assert "messages about days to post" in body
    # Moved to another day it is told anew; gone back to the same one it is not.
    planned(bargain, not_later_than=date(2027, 7, 9))
    sweep_at(clock, "08 16:00")
    assert subjects(bargain.donor)[2:] == [
        "Tomorrow, Friday 9 July: Post not later than this day: pollen of 'Ferry'"
    ]


@pytest.mark.parametrize(
    ("night_calls", "told_at"), [(None, "08 05:00"), (False, "08 05:00"), (True, "07 22:00")]
)
def test_in_quiet_hours_it_waits_unless_the_grower_said_otherwise(
    bargain: Bargain, clock: MovableClock, night_calls: bool | None, told_at: str
) -> None:
    grower_update(actor=bargain.donor, **NIGHT)
    MailChoice.objects.create(grower=bargain.donor, night_calls=night_calls)
    sweep_at(clock, "07 15:00")
    planned(bargain, not_later_than=date(2027, 7, 8))
    seen = []
    for hour in ("07 22:00", "08 04:59", "08 05:00", "08 06:00"):
        before = len(sent(bargain.donor))
        sweep_at(clock, hour)
        seen += [hour] * (len(sent(bargain.donor)) - before)
    assert seen == [told_at]


def test_a_last_day_inside_quiet_hours_is_told_before_them(bargain: Bargain, clock: MovableClock) -> None:
    """Of a grower who works at night and sleeps over the hours of the post."""
    grower_update(actor=bargain.donor, quiet_from=time(7), quiet_until=time(23))
    sweep_at(clock, "14 04:29")
    assert sent(bargain.donor) == []
    sweep_at(clock, "14 04:30")  # 06:30 in Paris
    assert "Post not later than this day" in str(sent(bargain.donor)[0].body)


def test_when_the_day_is_over_nothing_is_said(bargain: Bargain, clock: MovableClock) -> None:
    decline(bargain.donor, "daily")
    grower_update(actor=bargain.donor, quiet_from=time(1), quiet_until=time(23, 59))
    clock.set(at("15 05:00"))
    MailMessage.objects.all().delete()
    sweep()
    sweep_at(clock, "15 22:01")  # 00:01 in Paris, of the next day
    assert sent(bargain.donor) == []
    assert states(bargain.donor)[-1] == ("posting", "nothing_to_say")


def test_whoever_declined_the_daily_message_is_told_of_last_days(
    bargain: Bargain, clock: MovableClock
) -> None:
    decline(bargain.donor, "daily")
    for hour in ("14 14:59", "14 15:00", "15 06:00"):
        sweep_at(clock, hour)
    assert subjects(bargain.donor) == [
        "Tomorrow, Thursday 15 July: Post not later than this day: pollen of 'Ferry'"
    ]
    decline(bargain.donor, "daily", "posting")
    planned(bargain, not_later_than=date(2027, 7, 16))
    sweep_at(clock, "15 15:00")
    assert len(sent(bargain.donor)) == 1


# --- events that cannot wait ---


def test_a_bud_call_is_told_at_once_and_not_in_the_daily_message(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    offer_collect(actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator")
    seed_parent = bargain.pairing.wanted_cross.seed_parent
    bloom_bud_seen(actor=recipient, plant=seed_parent, seen_on=TODAY, bud_stage="at the surface")
    bud_calls_make(project_clock.now())
    sweep()
    sweep()
    assert subjects(bargain.donor) == ["To post soon: pollen of 'Ferry'"]
    assert "recipient sees a bud at the surface: post 'Ferry' on 2027-07-02" in str(
        sent(bargain.donor)[0].body
    )
    sweep_at(clock, "01 15:00")
    assert "sees a bud" not in "".join(str(message.body) for message in sent(bargain.donor)[1:])


@pytest.mark.parametrize(
    ("declined", "told"),
    [
        ([], ["Please read: about pollen of 'Ferry'"]),
        (["warning"], ["What has happened until 1 July"]),
        (["warning", "daily"], []),
    ],
)
def test_harm_is_told_at_once_or_by_the_daily_message_to_whoever_declined(
    bargain: Bargain,
    recipient: Grower,
    outsider: Grower,
    clock: MovableClock,
    declined: list[str],
    told: list[str],
) -> None:
    decline(recipient, *declined)
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    Notification.objects.update(read_at=project_clock.now())
    lot_incident(actor=bargain.donor, lot=lot, happened=WhatHappened("left_out", hours=5))
    for hour in ("01 12:00", "01 12:01", "01 15:00", "02 15:00"):
        sweep_at(clock, hour)
    assert subjects(recipient) == told
    assert all("left out" in str(message.body) for message in sent(recipient))
    assert sent(outsider) == []


def test_a_test_is_news_and_what_makes_pollen_doubtful_is_a_warning(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    Notification.objects.update(read_at=project_clock.now())
    for doubts in ([], ["frozen_undried"]):
        event = custody_note(
            lot,
            CustodyEvent.Kind.TEMPERATURE_READ,
            actor=bargain.donor,
            now=project_clock.now(),
            occurred_at=project_clock.now(),
            minimum_c=3.0,
            maximum_c=9.0,
            new_doubts=doubts,
        )
        custody_tell(event, [recipient])
        sweep()
        assert subjects(recipient) == ["Please read: about pollen of 'Ferry'"] * len(doubts)
    sweep_at(clock, "01 15:00")
    assert str(sent(recipient)[1].body).count("temperatures read") == 1


# --- delivery ---


def waiting(grower: Grower) -> MailMessage:
    messages_make(project_clock.now())
    return MailMessage.objects.get(grower=grower, state="waiting")


def failing(monkeypatch: pytest.MonkeyPatch, error: Exception | None) -> list[EmailBackend]:
    """Let the mail server answer so."""
    tried: list[EmailBackend] = []

    def send_messages(self: EmailBackend, messages: Any) -> int:
        tried.append(self)
        if error is not None:
            raise error
        mail.outbox.extend(messages)
        return len(messages)

    monkeypatch.setattr(EmailBackend, "send_messages", send_messages)
    return tried


def test_each_attempt_has_the_same_identifier_and_the_second_tells_the_same(
    bargain: Bargain, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock.set(at("07 15:00"))
    message = waiting(bargain.donor)
    failing(monkeypatch, OSError("no answer from mail.example for donor@example.org"))
    assert message_due(message.pk, at("07 15:00")) == at("07 15:01")
    message.refresh_from_db()
    assert (message.state, message.attempts, message.last_error) == ("waiting", 1, "OSError")
    failing(monkeypatch, None)
    assert message_due(message.pk, project_clock.now()) is None
    (told,) = sent(bargain.donor)
    assert told.extra_headers["Message-ID"] == f"<{message.public_id}@localhost>"
    assert "Best day to post" in str(told.subject)
    assert message_due(message.pk, project_clock.now()) is None
    assert len(sent(bargain.donor)) == 1


def test_a_worker_that_died_after_sending_leaves_one_message_for_the_mailbox(
    bargain: Bargain, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock.set(at("07 15:00"))
    message = waiting(bargain.donor)

    class Killed(BaseException):
        pass

    def dies(*_: Any, **__: Any) -> None:
        raise Killed

    with monkeypatch.context() as patch:
        patch.setattr("exchange.services.mail._ended", dies)
        with pytest.raises(Killed):
            message_due(message.pk, project_clock.now())
    clock.move(minutes=16)
    message_due(message.pk, project_clock.now())
    first, second = sent(bargain.donor)
    assert first.extra_headers["Message-ID"] == second.extra_headers["Message-ID"]
    assert (first.subject, first.body) == (second.subject, second.body)
    assert states(bargain.donor) == [("daily", "sent")]


def test_after_the_last_attempt_what_it_told_is_free_for_the_next_message(
    bargain: Bargain, recipient: Grower, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    Notification.objects.create(grower=recipient, kind="pairing_changed", pairing=bargain.pairing)
    clock.set(at("01 15:00"))
    message = waiting(recipient)
    failing(monkeypatch, smtplib.SMTPServerDisconnected("gone"))
    for pause in PAUSES:
        assert message_due(message.pk, at("01 15:00")) == at("01 15:00") + pause
    assert message_due(message.pk, project_clock.now()) is None
    assert states(recipient) == [("daily", "given_up")]
    failing(monkeypatch, None)
    sweep_at(clock, "02 15:00")
    assert "What has happened\n- Pollen of 'Ferry'" in str(sent(recipient)[0].body)


def test_an_address_that_the_server_does_not_know_rests(
    bargain: Bargain, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = smtplib.SMTPRecipientsRefused({str(bargain.donor.email): (550, b"no such user")})
    clock.set(at("07 15:00"))
    message = waiting(bargain.donor)
    tried = failing(monkeypatch, refused)
    assert message_due(message.pk, project_clock.now()) is None
    message.refresh_from_db()
    assert (message.state, message.last_error) == ("given_up", "recipient refused: 550")
    failing(monkeypatch, None)
    sweep_at(clock, "13 15:00")
    assert (len(tried), sent(bargain.donor)) == (1, [])
    grower_update(actor=bargain.donor, email="other@example.org")
    sweep_at(clock, "14 15:00")
    assert [message for message in mail.outbox if message.to == ["donor@example.org"]] == []
    confirmed(bargain.donor, email="donor@example.org")
    sweep_at(clock, "15 15:00")
    assert len(sent(bargain.donor)) == 1


def test_a_name_can_forge_neither_header_nor_line(bargain: Bargain, clock: MovableClock) -> None:
    plant = bargain.offer.plant
    type(plant).objects.filter(pk=plant.pk).update(name_as_grown="'Ferry'\r\nBcc: all@example.org\u2028X")
    sweep_at(clock, "07 15:00")
    (message,) = sent(bargain.donor)
    assert message.message().get("Bcc") is None
    assert message.recipients() == ["donor@example.org"]
    assert not any(line.startswith("Bcc") for line in str(message.body).splitlines())


def test_who_leaves_gets_nothing_and_leaves_nothing(bargain: Bargain, clock: MovableClock) -> None:
    clock.set(at("07 15:00"))
    message = waiting(bargain.donor)
    account_close(actor=bargain.donor)
    assert message_due(message.pk, project_clock.now()) is None
    assert [message for message in mail.outbox if "donor@example.org" in message.to] == []
    assert MailMessage.objects.filter(grower=bargain.donor).count() == 0


# --- the question about nights ---


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
