"""What a daily message tells: dates that come near, what has happened, what is asked; each of it once."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from exchange.models import MailMessage, MailTold, Notification, QuietAsk, Webhook
from exchange.selectors.calendar import entries_of
from exchange.selectors.mail import NEWS_HOLDS
from exchange.selectors.notification import notification_for, notifications_of
from exchange.selectors.quiet_ask import quiet_asks_for, quiet_asks_of
from exchange.selectors.quiet_hours import local_day
from exchange.wording.calendar import Entry
from exchange.wording.mail import DayTold, Line, switched_off_sentence
from growers.models import Grower

DAYS_THAT_MATTER = 2
"""A date that moved by less is not told again, unless it is a deadline (judgement)."""


def news_free(grower: Grower, now: datetime) -> QuerySet[Notification]:
    """Unread notifications that stand in no message, or in one that could not be sent."""
    unsent = MailMessage.objects.filter(grower=grower, state__in=MailMessage.UNSENT)
    # Their ids, and no join: an UPDATE must see that another message has taken one meanwhile.
    recent = list(unsent.filter(finished_at__gt=now - NEWS_HOLDS).values_list("pk", flat=True))
    free = Q(mailed_in=None) | Q(mailed_in__in=recent)
    return Notification.objects.filter(free, grower=grower, read_at=None, created_at__gt=now - NEWS_HOLDS)


def day_told(grower: Grower, message: MailMessage, now: datetime) -> DayTold:
    """What a message tells at an instant, in the language that is active; of news what it has taken."""
    known = _Known(grower, message)
    dates = [row for row in _dates(grower, now) if row.day <= local_day(grower, now) + timedelta(days=1)]
    return DayTold(
        dates=known.untold(dates),
        going_on=known.told(dates),
        asked=known.untold(_asked(grower)),
        switched_off=known.untold(_switched_off(grower)),
        news=tuple(notification_for(row).detail for row in _news(grower, message)),
    )


def _news(grower: Grower, message: MailMessage) -> QuerySet[Notification]:
    taken = notifications_of(grower).filter(mailed_in=message, read_at=None)
    return taken.order_by("created_at", "pk")


def line_of(grower: Grower, entry: Entry) -> Line:
    """An entry of the calendar with the days it has for its grower."""
    if entry.at is not None:
        day = local_day(grower, entry.at)
        return Line(entry.uid, day, day, entry.summary, entry.description, entry.alarm)
    if entry.first is None or entry.last is None:
        raise ValueError(f"entry {entry.uid} has neither an instant nor days.")
    return Line(entry.uid, entry.first, entry.last, entry.summary, entry.description, entry.alarm)


def told_before(grower: Grower) -> QuerySet[MailTold]:
    """What messages have told a grower, or are about to."""
    return MailTold.objects.filter(grower=grower).exclude(message__state__in=MailMessage.UNSENT)


@dataclass
class _Known:
    """What was told before a message."""

    grower: Grower
    message: MailMessage
    days: dict[str, date] = field(init=False)

    def __post_init__(self) -> None:
        rows = told_before(self.grower).exclude(message=self.message)
        self.days = dict(rows.values_list("uid", "day"))

    def is_told(self, row: Line) -> bool:
        """Whether it was told with this day, or one so near that it does not matter."""
        day = self.days.get(row.uid)
        margin = 1 if row.is_deadline else DAYS_THAT_MATTER
        return day is not None and abs((row.day - day).days) < margin

    def untold(self, rows: Iterable[Line]) -> tuple[Line, ...]:
        return tuple(row for row in rows if not self.is_told(row))

    def told(self, rows: Iterable[Line]) -> tuple[Line, ...]:
        return tuple(row for row in rows if self.is_told(row))


def _dates(grower: Grower, now: datetime) -> list[Line]:
    """The calendar's dates that are not over, by day."""
    rows = [line_of(grower, entry) for entry in entries_of(grower, now)]
    today = local_day(grower, now)
    return sorted((row for row in rows if row.last >= today), key=lambda row: (row.day, row.uid))


def _asked(grower: Grower) -> list[Line]:
    """Questions of somebody who would like pollen that is not on offer."""
    rows: QuerySet[QuietAsk] = quiet_asks_of(grower).filter(answer="").order_by("created_at", "pk")
    return [
        Line(f"asked-{ask.public_id}", ask.asked_on, ask.answer_by, ask.detail)
        for ask in quiet_asks_for(grower, rows)
    ]


def _switched_off(grower: Grower) -> list[Line]:
    """Addresses of the grower's clients that nothing is sent to any more, but not by their own wish."""
    rows = Webhook.objects.filter(grower=grower, state=Webhook.State.DISABLED)
    zone = ZoneInfo(grower.zone)
    found = []
    for row in rows.exclude(reason=Webhook.Reason.SWITCHED_OFF).order_by("pk"):
        if row.disabled_at is not None:
            day = row.disabled_at.astimezone(zone).date()
            words = switched_off_sentence(row.url, row.reason)
            found.append(Line(f"webhook-{row.public_id}", day, day, words, is_deadline=True))
    return found
