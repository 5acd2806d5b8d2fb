"""A grower's quiet hours on the clock of their zone."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from growers.models import Grower

DAILY_AT = time(17)
BEFORE_QUIET = timedelta(minutes=30)
"""So long before quiet hours begin a message goes out that would otherwise fall into them (judgement)."""


def local_day(grower: Grower, at: datetime) -> date:
    """The day it is for a grower."""
    return at.astimezone(ZoneInfo(grower.zone)).date()


def quiet_until(grower: Grower, at: datetime) -> datetime | None:
    """When the quiet hours end that an instant lies in; None outside them."""
    local = at.astimezone(ZoneInfo(grower.zone))
    if not _is_quiet(grower, local.time()) or grower.quiet_until is None:
        return None
    ends_today = local.time() < grower.quiet_until
    day = local.date() if ends_today else local.date() + timedelta(days=1)
    return _instant(grower, day, grower.quiet_until)


def daily_at(grower: Grower, day: date) -> datetime:
    """When the daily message of a day goes out: at 17:00, or before quiet hours that begin earlier."""
    if not _is_quiet(grower, DAILY_AT) or grower.quiet_from is None:
        return _instant(grower, day, DAILY_AT)
    began_before = grower.quiet_from > DAILY_AT
    quiet_from = _instant(grower, day - timedelta(days=1) if began_before else day, grower.quiet_from)
    return quiet_from - BEFORE_QUIET


def _is_quiet(grower: Grower, at: time) -> bool:
    begins, ends = grower.quiet_from, grower.quiet_until
    if begins is None or ends is None or begins == ends:
        return False
    return begins <= at < ends if begins < ends else at >= begins or at < ends


def _instant(grower: Grower, day: date, at: time) -> datetime:
    return datetime.combine(day, at, ZoneInfo(grower.zone)).astimezone(UTC)
