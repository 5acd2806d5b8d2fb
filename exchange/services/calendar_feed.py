"""Calendar feeds: made, revoked, and read by whoever knows the secret address of one."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import translation
from django.utils.translation import gettext as _

from exchange.models import CalendarFeed
from exchange.services.calendar import entries_told
from exchange.wording.calendar_file import calendar_file
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

MOST_FEEDS = 10
SECRET_BYTES = 32
NOTED_EVERY = timedelta(minutes=5)


@dataclass(frozen=True)
class FeedMade:
    """A new feed with its secret, which is shown this once and kept nowhere."""

    feed: CalendarFeed
    secret: str


def feed_create(*, actor: Grower, name: str) -> FeedMade:
    """Make a feed of all that concerns its grower; at most so many, so that old ones are revoked."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    with transaction.atomic():
        feed = CalendarFeed(grower=open_grower(actor), digest=_digest(secret))
        fields_set(feed, {"name": name}, ("name",))
        _feed_check(feed)
        _feed_save(feed)
    return FeedMade(feed, secret)


def feed_revoke(*, actor: Grower, feed: CalendarFeed) -> None:
    """End one's own feed at once."""
    deleted, _rows = CalendarFeed.objects.filter(pk=feed.pk, grower=actor).delete()
    if not deleted:
        raise NotFound("There is no such calendar feed.")


def feed_read(*, secret: str) -> bytes | None:
    """The calendar file behind a secret, in its grower's language; None if it is unknown or revoked."""
    known = CalendarFeed.objects.filter(digest=_digest(secret), grower__closed_at=None)
    feed = known.select_related("grower").first()
    if feed is None:
        return None
    now = clock.now()
    _note_read(feed, now)
    with translation.override(feed.grower.language):
        return calendar_file(entries_told(feed.grower, now), name=_("Pollen exchange"))


def _feed_check(feed: CalendarFeed) -> None:
    problems = Problems()
    columns_check(feed, problems, ranges={}, names=("name",))
    own = CalendarFeed.objects.filter(grower=feed.grower)
    if own.filter(name=feed.name).exists():
        problems.add("name", feed.name, "a name that none of your calendar feeds has yet", code="taken")
    if own.count() >= MOST_FEEDS:
        problems.add_sentence(
            "name", "too_many", f"You have {MOST_FEEDS} calendar feeds; revoke one that is not read any more."
        )
    problems.refuse_if_any()


def _feed_save(feed: CalendarFeed) -> None:
    try:
        with transaction.atomic():
            feed.save(force_insert=True)
    except IntegrityError as error:
        raise Conflict("Somebody else wrote the same thing at this moment; try again.") from error


def _note_read(feed: CalendarFeed, now: datetime) -> None:
    """To a few minutes."""
    unnoted = Q(last_read_at=None) | Q(last_read_at__lt=now - NOTED_EVERY)
    CalendarFeed.objects.filter(unnoted, pk=feed.pk).update(last_read_at=now)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
