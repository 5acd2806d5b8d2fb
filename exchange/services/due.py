"""Time-driven work: set it for a time, and do what is due.

The server's thread, ``manage.py due`` and Celery's beat all call :func:`run_due`; they may do so at the
same time. A row is taken by one conditional UPDATE, which needs no row lock and holds on SQLite and
PostgreSQL alike; a worker that dies leaves a claim that runs out.
"""

import logging
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import structlog
from django.db import transaction
from django.db.models import F, Q

from exchange.models.due import DueTask
from growers.models.base import PublicModel

Handler = Callable[[int, datetime], datetime | None]
"""Does the work of one kind for a subject's id at an instant; returns when it is due again, or None.

It writes in transactions of its own and must bear being called twice for the same wish: the second call
comes when a worker died between the work and the end of its row.
"""

HANDLERS: dict[str, Handler] = {}

Source = Callable[[datetime], None]
"""Looks whether there is work of its kind that nobody has set a time for, and sets it."""

SOURCES: list[Source] = []

CLAIM_LASTS = timedelta(minutes=15)
SWEEP_LASTS = timedelta(minutes=4)
FIRST_PAUSE = timedelta(minutes=1)
LONGEST_PAUSE = timedelta(days=1)

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class DueReport:
    """What one sweep did: how many rows ended well and how many failed and will be tried again."""

    done: int
    failed: int


def register(kind: str) -> Callable[[Handler], Handler]:
    """Name the function that does the work of a kind; a kind has one."""

    def keep(handler: Handler) -> Handler:
        if HANDLERS.setdefault(kind, handler) is not handler:
            raise ValueError(f"kind is {kind!r}; allowed: one that has no handler yet.")
        return handler

    return keep


def source(look: Source) -> Source:
    """Have a function look for work at the beginning of every sweep; it must be cheap."""
    SOURCES.append(look)
    return look


def due_set(*, kind: str, subject_id: int, due_at: datetime) -> None:
    """Have the work of a kind done for a subject at ``due_at``; replaces an earlier wish of the kind."""
    DueTask.objects.bulk_create(
        [DueTask(kind=kind, subject_id=subject_id, due_at=due_at, revision=0)], ignore_conflicts=True
    )
    DueTask.objects.filter(kind=kind, subject_id=subject_id).update(
        due_at=due_at, revision=F("revision") + 1, attempts=0, last_error=""
    )


def due_make(rows: Sequence[PublicModel], *, kind: str, due_at: datetime) -> list[int]:
    """Store rows of one model and set the work of a kind for each, both or neither; the keys of the new.

    A row that another sweep has made meanwhile stays as it is.
    """
    if not rows:
        return []
    stored = type(rows[0])._default_manager
    with transaction.atomic():
        stored.bulk_create(rows, ignore_conflicts=True)
        made = stored.filter(public_id__in=[row.public_id for row in rows]).order_by("pk")
        keys = list(made.values_list("pk", flat=True))
        for key in keys:
            due_set(kind=kind, subject_id=key, due_at=due_at)
    return keys


def due_cancel(*, kind: str, subject_id: int) -> None:
    """Drop the work of a kind for a subject; a run that has begun is not stopped."""
    DueTask.objects.filter(kind=kind, subject_id=subject_id).delete()


def due_revision(*, kind: str, subject_id: int) -> int | None:
    """Which wish for the work of a kind waits for a subject; None if there is none."""
    return DueTask.objects.filter(kind=kind, subject_id=subject_id).values_list("revision", flat=True).first()


def due_done(*, kind: str, subject_id: int, revision: int | None) -> None:
    """The work of this wish has been done by whoever set it; one that came in meanwhile stays."""
    waits = DueTask.objects.filter(kind=kind, subject_id=subject_id, claimed_until=None)
    if revision is not None:
        waits.filter(revision=revision).delete()


def run_due(now: datetime, limit: int) -> DueReport:
    """Do what is due at ``now``, the longest overdue first, at most ``limit`` rows and a few minutes' work.

    Must not be called inside a transaction: others must see the claims at once. Kinds that this version
    has no handler for stay untouched; during an upgrade a newer worker does them. What is logged meanwhile
    carries a ``run_id`` of this sweep.
    """
    with structlog.contextvars.bound_contextvars(run_id=uuid.uuid4().hex):
        _look(now)
        return _sweep(now, limit)


def _sweep(now: datetime, limit: int) -> DueReport:
    due = DueTask.objects.filter(free(now), due_at__lte=now, kind__in=list(HANDLERS)).order_by("due_at", "id")
    results = []
    started = time.monotonic()
    for task in due[:limit]:
        # A claim counts from its own instant: late in a long sweep one made from ``now`` would be short.
        spent = timedelta(seconds=time.monotonic() - started)
        if spent > SWEEP_LASTS:
            break
        if claim(task, now, until=now + spent + CLAIM_LASTS):
            results.append(run(task, now))
    return DueReport(done=results.count(True), failed=results.count(False))


def _look(now: datetime) -> None:
    for look in SOURCES:
        try:
            look(now)
        except Exception:  # one kind of work must not stop the others
            log.exception("could not look for work: %s", look)


def free(now: datetime) -> Q:
    """Rows that no living worker has taken."""
    return Q(claimed_until__isnull=True) | Q(claimed_until__lte=now)


def claim(task: DueTask, now: datetime, until: datetime) -> bool:
    """Take a row as it was read: False if it was set anew, or another worker was first."""
    same = DueTask.objects.filter(free(now), pk=task.pk, revision=task.revision, attempts=task.attempts)
    task.attempts += 1
    task.claimed_until = until
    return same.update(claimed_until=until, attempts=task.attempts) == 1


def run(task: DueTask, now: datetime) -> bool:
    """Do the work of a row that we have taken; False if it failed."""
    try:
        again_at = HANDLERS[task.kind](task.subject_id, now)
    except Exception as error:
        log.exception("due task %s failed, attempt %s", task, task.attempts)
        postpone(task, now, error)
        return False
    finish(task, again_at)
    return True


def finish(task: DueTask, again_at: datetime | None) -> None:
    """End a row, or set it for its next time; a wish that came in meanwhile stays as it is."""
    mine = DueTask.objects.filter(pk=task.pk, revision=task.revision, claimed_until=task.claimed_until)
    if again_at is None:
        ended, _ = mine.delete()
    else:
        ended = mine.update(due_at=again_at, claimed_until=None, attempts=0, last_error="")
    if not ended:
        release(task)


def postpone(task: DueTask, now: datetime, error: Exception) -> None:
    """Set a failed row for its next attempt, later each time."""
    mine = DueTask.objects.filter(pk=task.pk, revision=task.revision, claimed_until=task.claimed_until)
    text = f"{type(error).__name__}: {error}"[:500]
    if not mine.update(due_at=now + pause(task.attempts), claimed_until=None, last_error=text):
        release(task)


def release(task: DueTask) -> None:
    """Give a row back that was set anew while it was worked on."""
    DueTask.objects.filter(pk=task.pk, claimed_until=task.claimed_until).update(claimed_until=None)


def pause(attempts: int) -> timedelta:
    """How long to wait after so many attempts: a minute, doubled each time, a day at most."""
    doublings = min(attempts - 1, 20)
    return min(FIRST_PAUSE * (1 << doublings), LONGEST_PAUSE)
