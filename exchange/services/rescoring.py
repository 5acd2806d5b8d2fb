"""Matching as a service: changed facts are taken in, once, by one worker; what they do not touch stays.

A change is claimed before anything is read and deleted after everything is stored. Whoever dies in between
leaves claims that run out, and the next run finds the same pairings and tells nobody twice.
"""

import time
from datetime import UTC, date, datetime, timedelta

from exchange.models import DueTask, MatchingRun
from exchange.services.coordinator import coordinator_only
from exchange.services.due import free, register, source
from exchange.services.lease import Held, leased
from exchange.services.matching import DryRun, Reckoned, matching_dry_run, matching_reckon, matching_store
from growers.errors import Conflict
from growers.models import Change, Grower

KIND = "matching"
SOCIETY = 1
"""The one scope there is: all that is open. A due task asks for a number."""
CLAIM_LASTS = timedelta(minutes=15)
PREVIEW_LASTS_SECONDS = 60
"""How long a request may reckon for an answer that is not stored (judgement)."""


def rescore(*, now: datetime) -> MatchingRun | None:
    """Take in what has changed, and a new day; None if nothing has, or another worker is at it."""
    with leased(KIND, now) as held:
        if held is None:
            return None
        until = _claim(held)
        if until is None and not _is_new_day(_day(now)):
            return None
        return _run(held, until, _day(now), usual_rule())


def run_held(held: Held, *, rule: MatchingRun.Rule) -> MatchingRun:
    """A run by a rule under a lease of ``KIND``, whether or not anything has changed."""
    return _run(held, _claim(held), _day(held.taken_at), rule)


def matching_preview(*, actor: Grower, now: datetime, rule: MatchingRun.Rule | None = None) -> DryRun:
    """What a run would change, for a coordinator; nothing is stored.

    Raises ``NotFound`` for others, ``Conflict`` where reckoning it takes longer than somebody can wait.
    """
    coordinator_only(actor)
    started = time.monotonic()

    def bounded(_done: int, _of: int) -> None:
        if time.monotonic() - started > PREVIEW_LASTS_SECONDS:
            raise Conflict(
                f"There is too much for a dry run: it takes longer than {PREVIEW_LASTS_SECONDS} seconds."
                " Order a run instead."
            )

    return matching_dry_run(today=_day(now), rule=rule or usual_rule(), progress=bounded)


@register(KIND)
def rescore_due(subject_id: int, now: datetime) -> None:
    """The sweep's way to :func:`rescore`; what is left over is found by the next sweep."""
    rescore(now=now)


@source
def matching_due(now: datetime) -> None:
    """Have a run due where changes wait or the plans are of yesterday; a failed run keeps its pause."""
    waits = Change.objects.filter(free(now)).exists() or _is_new_day(_day(now))
    if waits and not DueTask.objects.filter(kind=KIND, subject_id=SOCIETY).exists():
        DueTask.objects.bulk_create(
            [DueTask(kind=KIND, subject_id=SOCIETY, due_at=now)], ignore_conflicts=True
        )


def _run(held: Held, until: datetime | None, today: date, rule: MatchingRun.Rule) -> MatchingRun:
    mine = Change.objects.filter(claimed_until=until) if until else Change.objects.none()
    try:
        reckoned: Reckoned = matching_reckon(today=today, rule=rule, progress=lambda _done, _of: held.keep())
        # Renewed in the transaction that stores: a worker that was overtaken must not store what is stale.
        run = matching_store(reckoned, guard=held.renew)
    except BaseException:
        mine.update(claimed_until=None)
        raise
    mine.delete()
    return run


def _claim(held: Held) -> datetime | None:
    """Take every change that is free; the end of the claim marks them as ours. None if there is none."""
    until = held.instant() + CLAIM_LASTS
    return until if Change.objects.filter(free(held.taken_at)).update(claimed_until=until) else None


def _is_new_day(today: date) -> bool:
    """Whether the latest run is of an earlier day; plans count from the day they are made on."""
    latest = MatchingRun.objects.order_by("-pk").values_list("today", flat=True).first()
    return latest is not None and latest < today


def _day(now: datetime) -> date:
    return now.astimezone(UTC).date()


def usual_rule() -> MatchingRun.Rule:
    """The rule of the latest run: an edit must not undo what a coordinator chose."""
    latest = MatchingRun.objects.order_by("-pk").values_list("rule", flat=True).first()
    return MatchingRun.Rule(latest) if latest else MatchingRun.Rule.EACH_GROWER_FIRST
