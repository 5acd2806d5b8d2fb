"""The one clock of the project.

It is the system clock plus the offset read from the file named by ``CLOCK_OFFSET_FILE`` (seconds,
a decimal number), so that server, worker and beat of a test move together. Service mode refuses to
start with that setting. Secrets expire on the true clock, never on this one.
"""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings


def now() -> datetime:
    """The present instant in UTC, moved by the offset file if there is one."""
    return true_now() + offset()


def today(zone: str) -> date:
    """The civil date at a place, by its IANA zone name."""
    return now().astimezone(ZoneInfo(zone)).date()


def true_now() -> datetime:
    """The system clock in UTC; only for the expiry of secrets."""
    return datetime.now(UTC)


def offset() -> timedelta:
    """How far the clock is moved; zero unless ``CLOCK_OFFSET_FILE`` names a readable number."""
    path = settings.CLOCK_OFFSET_FILE
    if not path:
        return timedelta()
    text = Path(path).read_text(encoding="ascii").strip() if Path(path).exists() else "0"
    return timedelta(seconds=float(text or "0"))
