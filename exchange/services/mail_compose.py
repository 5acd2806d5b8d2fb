"""What a message says when it is sent; it is marked as told by this message before."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from exchange.models import MailChoice, MailMessage, MailTold, Notification
from exchange.selectors.calendar import entries_of
from exchange.selectors.mail import grows_night_bloomers
from exchange.selectors.mail_day import day_told, line_of, news_free
from exchange.selectors.notification import notification_for, notifications_of
from exchange.selectors.quiet_hours import local_day
from exchange.services.mail_link import links_for
from exchange.wording.mail import Composed, Line, Links, daily_message, event_message, posting_message
from growers.models import Grower

Kind = MailMessage.Kind


@dataclass(frozen=True, slots=True)
class Made:
    """A message and the links in it."""

    composed: Composed
    links: Links


def compose(message: MailMessage, now: datetime) -> Made | None:
    """A message with its grower loaded, in the language that is active; None if nothing is left to tell."""
    if message.kind == Kind.DAILY:
        return _daily(message, now)
    event = notifications_of(message.grower).filter(mailed_in=message).first()
    if event is not None:
        return _event(message, event)
    return _posting(message, now)


def _daily(message: MailMessage, now: datetime) -> Made | None:
    grower = message.grower
    with transaction.atomic():
        # Taken first and read afterwards: what is told in between is left to the next message.
        news_free(grower, now).update(mailed_in=message)
        told = day_told(grower, message, now)
        if told.is_empty:
            return None
        for row in told.new:
            _mark(message, row)
    links = links_for(grower, message.kind, asks_night=_asks_night(grower))
    return Made(daily_message(grower.handle, told, local_day(grower, now), links), links)


def _event(message: MailMessage, event: Notification) -> Made | None:
    if event.read_at is not None:
        return None
    told = notification_for(event)
    links = links_for(message.grower, message.kind)
    plant = told.parameters["plant"]
    return Made(event_message(message.kind, message.grower.handle, plant, told.detail, links), links)


def _posting(message: MailMessage, now: datetime) -> Made | None:
    """The last day to post that the message is about, if it still is one."""
    uid, _, day = message.key.partition(" ")
    grower, today = message.grower, local_day(message.grower, now)
    rows = [line_of(grower, entry) for entry in entries_of(grower, now) if entry.uid == uid]
    line = next((row for row in rows if row.day.isoformat() == day and row.day >= today), None)
    if line is None:
        return None
    _mark(message, line)
    links = links_for(grower, message.kind)
    return Made(posting_message(grower.handle, line, today, links), links)


def _mark(message: MailMessage, row: Line) -> None:
    told: dict[str, date | MailMessage] = {"day": row.day, "message": message}
    MailTold.objects.update_or_create(grower=message.grower, uid=row.uid, defaults=told)


def _asks_night(grower: Grower) -> bool:
    """Whether to ask, once, a grower of night bloomers who has quiet hours."""
    if grower.quiet_from is None or not grows_night_bloomers(grower):
        return False
    return not MailChoice.objects.filter(grower=grower, night_asked_at__isnull=False).exists()
