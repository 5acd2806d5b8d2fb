"""Leases: of some work only one may be going on, however many workers there are.

A lease is a row that is taken by one conditional UPDATE, so that no lock need be held while the work goes
on. It runs out if its holder died; a holder that was merely slow finds out when it wants to write.
"""

import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import Q

from exchange.models import Lease

LEASE_LASTS = timedelta(minutes=15)
KEPT_EACH = timedelta(minutes=1)


class LeaseLost(Exception):
    """The work took longer than its lease, and another worker has begun it anew."""


@dataclass
class Held:
    """A lease in our hands, counted from the instant at which it was taken."""

    name: str
    taken_at: datetime
    holder: uuid.UUID = field(default_factory=uuid.uuid4)
    _started: float = field(default_factory=time.monotonic)
    _kept: timedelta = timedelta()

    def instant(self) -> datetime:
        """The present instant by the clock that the lease was taken by."""
        return self.taken_at + self._spent()

    def renew(self) -> None:
        """Hold it for a full term from now on; ``LeaseLost`` if another holds it."""
        mine = Lease.objects.filter(name=self.name, holder=self.holder)
        if not mine.update(held_until=self.instant() + LEASE_LASTS):
            raise LeaseLost(self.name)
        self._kept = self._spent()

    def keep(self) -> None:
        """Renew it if the last time was a while ago; to be called often."""
        if self._spent() - self._kept > KEPT_EACH:
            self.renew()

    def _spent(self) -> timedelta:
        return timedelta(seconds=time.monotonic() - self._started)


@contextmanager
def leased(name: str, now: datetime) -> Iterator[Held | None]:
    """Hold a lease while the block runs; None, at once, if somebody else does."""
    held = Held(name, now)
    taken = _take(held)
    try:
        yield held if taken else None
    finally:
        if taken:
            Lease.objects.filter(name=name, holder=held.holder).update(holder=None, held_until=None)


def _take(held: Held) -> bool:
    Lease.objects.bulk_create([Lease(name=held.name)], ignore_conflicts=True)
    free = Q(held_until__isnull=True) | Q(held_until__lte=held.taken_at)
    rows = Lease.objects.filter(free, name=held.name)
    return rows.update(holder=held.holder, held_until=held.taken_at + LEASE_LASTS) == 1
