"""Growers with a confirmed address, and what the sweep has sent them."""

from datetime import UTC, datetime
from typing import Any

from django.core import mail
from django.core.mail import EmailMessage

from exchange.models import DueTask, MailChoice, MailMessage, Notification
from exchange.services.account import email_confirm
from exchange.services.due import CLAIM_LASTS, claim, run
from exchange.services.mail import KIND, messages_make
from growers import clock
from growers.models import Grower
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain
from tests.exchange.plan import stands


def confirmed(grower: Grower, **changes: Any) -> Grower:
    """The grower with a confirmed address and changed settings."""
    email_confirm(grower=grower)
    return grower_update(actor=grower, **changes) if changes else grower


def sweep() -> None:
    """Do what is due of messages now, and nothing else: no run reckons pairings anew."""
    now = clock.now()
    messages_make(now)
    for task in DueTask.objects.filter(kind=KIND, due_at__lte=now).order_by("pk"):
        assert claim(task, now, now + CLAIM_LASTS)
        assert run(task, now)


def sent(grower: Grower) -> list[EmailMessage]:
    """What was sent to a grower, the oldest first."""
    return [message for message in mail.outbox if message.to == [grower.email]]


def subjects(grower: Grower) -> list[str]:
    return [str(message.subject) for message in sent(grower)]


def states(grower: Grower) -> list[tuple[str, str]]:
    """Kind and state of a grower's messages, the oldest first."""
    return list(MailMessage.objects.filter(grower=grower).order_by("pk").values_list("kind", "state"))


def decline(grower: Grower, *kinds: str) -> None:
    MailChoice.objects.update_or_create(grower=grower, defaults={"declined": list(kinds)})


def at(text: str) -> datetime:
    """An instant of July 2027, ``"14 15:00"``, in UTC."""
    return datetime.strptime(f"2027-07-{text}", "%Y-%m-%d %H:%M").replace(tzinfo=UTC)


def sweep_at(movable: MovableClock, text: str) -> None:
    """Do what is due of messages at such an instant."""
    movable.set(at(text))
    sweep()


def make_written_to(donor: Grower, recipient: Grower, outsider: Grower) -> Bargain:
    """An agreement of growers in Paris who have confirmed their addresses and read what they were told.

    The clock must stand at the society's noon or later.
    """
    for grower in (donor, recipient, outsider):
        confirmed(grower, zone="Europe/Paris")
    made = make_bargain(donor, recipient)
    planned(made)
    agree(made.pairing)
    all_is_read()
    return made


def planned(bargain: Bargain, **changes: Any) -> None:
    """Let the pairing that stands have these dates, and no picture of flowers."""
    stands(bargain.pairing, has_picture=False, **changes)


def all_is_read() -> None:
    """Everybody has read what they were told up to here."""
    Notification.objects.update(read_at=clock.now())


def told(grower: Grower, kind: str, bargain: Bargain) -> Notification:
    """Tell somebody now of the pairing."""
    return Notification.objects.create(
        grower=grower, kind=kind, pairing=bargain.pairing, created_at=clock.now()
    )
