"""A message on its way: attempts, an address that is refused, a worker that dies, names that would forge."""

import smtplib
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from exchange.models import MailMessage
from exchange.services.account import account_close
from exchange.services.mail import PAUSES, message_due, messages_make
from growers import clock as project_clock
from growers.models import Grower
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain
from tests.exchange.mailing import (
    at,
    confirmed,
    make_written_to,
    sent,
    states,
    sweep_at,
    told,
)
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_written_to(donor, recipient, outsider)


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
    told(recipient, "pairing_changed", bargain)
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
