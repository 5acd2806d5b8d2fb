"""Messages to a grower in plain text; what others typed stays on its line.

A subject names a plant and a day, never a place or a person.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlsplit

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from exchange.models import MailMessage, Webhook
from exchange.wording.one_line import one_line

Kind = MailMessage.Kind

MOST_LINES = 25
"""Of one list; the rest is counted (judgement)."""

KINDS: Mapping[str, str | Promise] = {
    Kind.DAILY: gettext_lazy("the daily message"),
    Kind.POSTING: gettext_lazy("messages about days to post that came up since the daily one"),
    Kind.WARNING: gettext_lazy("messages that something may be wrong with pollen you have or were promised"),
}
WHY_SWITCHED_OFF: Mapping[str, str | Promise] = {
    Webhook.Reason.GONE: gettext_lazy("it answered that it is gone"),
    Webhook.Reason.FAILED_FOR_DAYS: gettext_lazy("nothing could be delivered there for days"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing with days, told once under its ``uid``, and again if the first of its days has moved."""

    uid: str
    day: date
    last: date
    words: str
    about: str = ""
    is_deadline: bool = False


@dataclass(frozen=True, slots=True)
class DayTold:
    """All that one daily message tells."""

    dates: tuple[Line, ...]
    going_on: tuple[Line, ...]
    asked: tuple[Line, ...]
    switched_off: tuple[Line, ...]
    news: tuple[str, ...]

    @property
    def new(self) -> tuple[Line, ...]:
        """What it tells for the first time."""
        return self.dates + self.asked + self.switched_off

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing new: what goes on was told when it began."""
        return not (self.new or self.news)


@dataclass(frozen=True, slots=True)
class Composed:
    """A message as it is sent."""

    subject: str
    body: str


@dataclass(frozen=True, slots=True)
class Links:
    """Where its reader can go; ``night`` is the question about quiet hours, if it is asked."""

    home: str
    stop: str
    night: str = ""


def switched_off_sentence(url: str, reason: str) -> str:
    """That nothing is sent to a client's address any more; its path may be a secret."""
    host = urlsplit(url).hostname or ""
    return _("Nothing is sent to your webhook at {host} any more: {why}.").format(
        host=host, why=WHY_SWITCHED_OFF[reason]
    )


def daily_message(handle: str, told: DayTold, today: date, links: Links) -> Composed:
    """The daily message; what it tells is not empty."""
    parts = [
        _("Hello {handle},").format(handle=one_line(handle)),
        *_days(told.dates, today),
        _list(_("Going on"), [_until(line) for line in told.going_on]),
        _list(_("What has happened"), told.news),
        _list(_("You are asked"), [_asked(line) for line in told.asked]),
        _list(_("Switched off"), [line.words for line in told.switched_off]),
        _night(links),
        _foot(Kind.DAILY, links),
    ]
    return Composed(one_line(_daily_subject(told, today)), _joined(parts))


def posting_message(handle: str, line: Line, today: date, links: Links) -> Composed:
    """A last day to post that came up after the daily message."""
    subject = f"{_day_words(line.day, today)}: {line.words}"
    return _single(Kind.POSTING, subject, handle, f"{subject}. {line.about}".strip(), links)


def event_message(kind: str, handle: str, plant: str, sentence: str, links: Links) -> Composed:
    """One event that its reader is told of at once."""
    subjects = {
        Kind.POSTING: _("To post soon: pollen of {plant}"),
        Kind.WARNING: _("Please read: about pollen of {plant}"),
    }
    return _single(kind, subjects[Kind(kind)].format(plant=plant), handle, sentence, links)


def _single(kind: str, subject: str, handle: str, words: str, links: Links) -> Composed:
    hello = _("Hello {handle},").format(handle=one_line(handle))
    return Composed(one_line(subject), _joined([hello, one_line(words), _foot(kind, links)]))


def _daily_subject(told: DayTold, today: date) -> str:
    if told.dates:
        first = told.dates[0]
        subject = f"{_day_words(first.day, today)}: {first.words}"
        more = len(told.dates) - 1
        return subject + (
            ngettext(" and {number} more", " and {number} more", more).format(number=more) if more else ""
        )
    if told.asked:
        return _("Somebody would like pollen that you grow")
    return _("What has happened until {day}").format(day=date_format(today, "j F"))


def _days(lines: Iterable[Line], today: date) -> list[str]:
    """A list for each day; what began before today stands under today."""
    by_day: dict[date, list[str]] = {}
    for line in lines:
        by_day.setdefault(max(line.day, today), []).append(_until(line))
    return [_list(_day_words(day, today), by_day[day]) for day in sorted(by_day)]


def _day_words(day: date, today: date) -> str:
    words = {today: _("Today, {day}"), today + timedelta(days=1): _("Tomorrow, {day}")}.get(day, "{day}")
    return words.format(day=date_format(day, "l j F"))


def _until(line: Line) -> str:
    words = line.words
    if line.last > line.day:
        words = _("{words} (until {day})").format(words=words, day=date_format(line.last, "l j F"))
    return f"{words}. {line.about}".strip()


def _asked(line: Line) -> str:
    return _("{words} The question waits for you until {day}.").format(
        words=line.words, day=date_format(line.last, "j F")
    )


def _list(heading: str, lines: Sequence[str]) -> str:
    """A heading and its lines; empty without any."""
    if not lines:
        return ""
    shown = [f"- {one_line(line)}" for line in lines[:MOST_LINES]]
    more = len(lines) - MOST_LINES
    if more > 0:
        shown.append(ngettext("- and {number} more", "- and {number} more", more).format(number=more))
    return "\n".join([heading, *shown])


def _night(links: Links) -> str:
    if not links.night:
        return ""
    return _(
        "You grow lilies that flower at night. May messages that cannot wait reach you in your quiet hours"
        " too? We ask this once; answer here:\n{link}"
    ).format(link=links.night)


def _foot(kind: str, links: Links) -> str:
    return _("-- \nPollen exchange, {home}\nTo stop {kind}: {stop}").format(
        home=links.home, kind=KINDS[kind], stop=links.stop
    )


def _joined(parts: Iterable[str]) -> str:
    return "\n\n".join(part for part in parts if part) + "\n"
