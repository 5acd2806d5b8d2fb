"""Messages to growers: which are due, and the delivery of one.

One event stands in one message. The daily one takes in what has not been told; what cannot wait gets a
message of its own, outside quiet hours. What a message tells is marked as its own before it is sent, so that
a worker that dies leaves it to the next attempt, which has the same ``Message-ID``; what could not be sent at
all is free again for the next message.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F
from django.utils import translation

from exchange.models import MailChoice, MailMessage, Notification
from exchange.selectors.mail import (
    AT_ONCE,
    growers_without_daily,
    growers_written_to,
    posting_deadlines,
    quiet_at_daily,
    told_at_once,
)
from exchange.selectors.mail_day import told_before
from exchange.selectors.quiet_hours import DAILY_AT, daily_at, local_day, quiet_until
from exchange.services.due import due_make, register, source
from exchange.services.mail_compose import compose
from exchange.services.mail_sending import Outcome, send
from growers import clock
from growers.models import Grower

KIND = "mail"
Kind, State = MailMessage.Kind, MailMessage.State

PAUSES = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 300))
"""Before the second attempt and each one after it (judgement)."""

REFUSED_RESTS = timedelta(days=7)
"""A mail server that knew no such address is asked again after so long (judgement)."""

KEPT = timedelta(days=120)
"""So long a message, and which dates it told, is remembered: longer than a season (judgement)."""

AT_A_TIME = 200


@source
def messages_make(now: datetime) -> None:
    """Set up what is to be sent: daily messages first, so that a deadline they tell needs none of its own."""
    _daily_make(now)
    for kind in AT_ONCE:
        for told in told_at_once(kind, now).order_by("pk")[:AT_A_TIME]:
            _urgent_make(told, kind, now)
    _deadlines_make(now)


def _daily_make(now: datetime) -> None:
    everybody = growers_written_to(Kind.DAILY, now)
    days = {
        zone: now.astimezone(ZoneInfo(zone)) for zone in everybody.values_list("zone", flat=True).distinct()
    }
    late = {zone: local.date() for zone, local in days.items() if local.time() >= DAILY_AT}
    rows = growers_without_daily(everybody, late)
    early = everybody.filter(quiet_at_daily())
    rows += growers_without_daily(
        early, {zone: local.date() for zone, local in days.items() if zone not in late}
    )
    due = [row for row in rows if daily_at(row, local_day(row, now)) <= now and not quiet_until(row, now)]
    for first in range(0, len(due), AT_A_TIME):
        messages = [
            MailMessage(grower=row, kind=Kind.DAILY, key=local_day(row, now).isoformat())
            for row in due[first : first + AT_A_TIME]
        ]
        due_make(messages, kind=KIND, due_at=now)
        MailMessage.objects.filter(finished_at__lt=now - KEPT).delete()


def _urgent_make(told: Notification, kind: str, now: datetime) -> None:
    """One message for one event; whoever marks the event first makes it."""
    message = MailMessage(grower_id=told.grower_id, kind=kind, key=f"event {told.public_id}")
    with transaction.atomic():
        made = due_make([message], kind=KIND, due_at=now)
        unmarked = Notification.objects.filter(pk=told.pk, mailed_in=None)
        if made and not unmarked.update(mailed_in=made[0]):
            transaction.set_rollback(True)


def _deadlines_make(now: datetime) -> None:
    """Last days to post that nobody has told: today's and tomorrow's, once the daily message could have."""
    for row in posting_deadlines(now.date(), now):
        if _is_ripe(row.grower, row.day, now) and not _is_told(row.grower, row.uid, row.day):
            message = MailMessage(grower=row.grower, kind=Kind.POSTING, key=f"{row.uid} {row.day}")
            due_make([message], kind=KIND, due_at=now)


def _is_ripe(grower: Grower, day: date, now: datetime) -> bool:
    """From the hour of the daily message before until the end of the day."""
    return daily_at(grower, day - timedelta(days=1)) <= now and local_day(grower, now) <= day


def _is_told(grower: Grower, uid: str, day: date) -> bool:
    """Whether it was told, is being told, or is left to the daily message under way."""
    waits = MailMessage.objects.filter(grower=grower, kind=Kind.DAILY, state=State.WAITING).exists()
    return waits or told_before(grower).filter(uid=uid, day=day).exists()


@register(KIND)
def message_due(subject_id: int, now: datetime) -> datetime | None:
    """Try to send a message once; when to try again, or None."""
    waiting = MailMessage.objects.filter(pk=subject_id, state=State.WAITING)
    message = waiting.select_related("grower").first()
    if message is None:
        return None
    if not growers_written_to(message.kind, now).filter(pk=message.grower_id).exists():
        return _ended(message, State.DECLINED)
    quiet = quiet_until(message.grower, now)
    if message.kind == Kind.DAILY and (quiet or message.key != local_day(message.grower, now).isoformat()):
        return _ended(message, State.GIVEN_UP)
    if quiet is not None and not _may_call_at_night(message.grower):
        return quiet
    # Taken here too: of two workers only one sends, should one's claim of the due row have run out.
    if not waiting.filter(attempts=message.attempts).update(attempts=F("attempts") + 1):
        return None
    message.attempts += 1
    return _deliver(message, now)


def _deliver(message: MailMessage, now: datetime) -> datetime | None:
    with translation.override(message.grower.language):
        made = compose(message, now)
        if made is None:
            return _ended(message, State.NOTHING_TO_SAY)
        outcome = send(message, made.composed, made.links)
    if not outcome.error:
        return _ended(message, State.SENT, asked_night=bool(made.links.night))
    return _failed(message, outcome, now)


def _failed(message: MailMessage, outcome: Outcome, now: datetime) -> datetime | None:
    MailMessage.objects.filter(pk=message.pk).update(last_error=outcome.error)
    if outcome.is_refused:
        refused = {"refused_email": message.grower.email, "rests_until": now + REFUSED_RESTS}
        MailChoice.objects.update_or_create(grower=message.grower, defaults=refused)
    if outcome.is_refused or message.attempts > len(PAUSES):
        return _ended(message, State.GIVEN_UP)
    return now + PAUSES[message.attempts - 1]


def _ended(message: MailMessage, state: MailMessage.State, *, asked_night: bool = False) -> datetime | None:
    """End a message, which is never due again."""
    now = clock.now()
    with transaction.atomic():
        MailMessage.objects.filter(pk=message.pk, state=State.WAITING).update(state=state, finished_at=now)
        if asked_night:
            MailChoice.objects.update_or_create(grower=message.grower, defaults={"night_asked_at": now})
    return None


def _may_call_at_night(grower: Grower) -> bool:
    return MailChoice.objects.filter(grower=grower, night_calls=True).exists()
