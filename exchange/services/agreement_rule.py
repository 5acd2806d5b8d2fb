"""Rules of agreements: which state follows which, and how long a yes holds."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from exchange.models import Agreement, Pairing

State = Agreement.State

ALLOWED: dict[str, frozenset[str]] = {
    State.PROPOSED: frozenset({State.AGREED, State.DECLINED, State.LAPSED, State.ENDED}),
    State.AGREED: frozenset({State.LAPSED, State.ENDED}),
    State.DECLINED: frozenset(),
    State.LAPSED: frozenset(),
    State.ENDED: frozenset(),
}
ALIVE = (State.PROPOSED, State.AGREED)

LONGEST_WAIT = timedelta(days=10)
"""A single yes holds no longer (judgement)."""

SHORTEST_WAIT = timedelta(hours=12)
"""Nor shorter, however near the last good posting day is: people sleep (judgement)."""

AFTER_LAST_POSTING = timedelta(days=14)
"""Doses stay reserved so long beyond the last good posting day (judgement)."""

LONGEST_RESERVATION = timedelta(days=134)
"""The days ahead that are planned, and what follows the last posting (judgement)."""

MOST_OPEN_PROPOSALS = 30
"""Of one grower at a time (judgement)."""


def lapse_time(pairing: Pairing, now: datetime) -> datetime:
    """When a single yes ends: after ten days, or half the time left if that comes first."""
    if pairing.not_later_than is None:
        return now + LONGEST_WAIT
    half = (_end_of_day(pairing.not_later_than, pairing) - now) / 2
    return now + min(LONGEST_WAIT, max(SHORTEST_WAIT, half))


def reserved_until(pairing: Pairing, now: datetime) -> datetime:
    """Until when agreed doses are kept: two weeks beyond the last good posting day."""
    longest = now + LONGEST_RESERVATION
    if pairing.not_later_than is None:
        return longest
    last = _end_of_day(pairing.not_later_than, pairing) + AFTER_LAST_POSTING
    return min(longest, max(last, now + AFTER_LAST_POSTING))


def _end_of_day(day: date, pairing: Pairing) -> datetime:
    """The end of a posting day where the donor's plant stands, as far as others may know."""
    zone = ZoneInfo(pairing.offer.plant.site.cell_zone)
    return datetime.combine(day + timedelta(days=1), time(), zone)
