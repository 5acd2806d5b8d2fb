"""Matching as a service: changed facts are taken in, once, by one worker; what they do not touch stays.

A change is claimed before anything is read and deleted after everything is stored. Whoever dies in between
leaves claims that run out, and the next run finds the same pairings and tells nobody twice.
"""

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


def rescore(*, now: datetime) -> MatchingRun | None:
    """Take in what has changed, and a new day; None if nothing has, or another worker is at it."""
    with leased(KIND, now) as held:
        if held is None:
            return None
        until = _claim(held)
        if until is None and not _is_new_day(_day(now)):
            return None
        return _run(held, until, _day(now), _usual_rule())


def matching_order(*, actor: Grower, now: datetime, rule: MatchingRun.Rule | None = None) -> MatchingRun:
    """A run at the wish of a coordinator; a rule other than the one in use stays for the runs after it.

    Raises ``NotFound`` for others, ``Conflict`` while another run is going on.
    """
    coordinator_only(actor)
    with leased(KIND, now) as held:
        if held is None:
            raise Conflict("A matching run is going on at this moment; try again when it has ended.")
        return _run(held, _claim(held), _day(now), rule or _usual_rule())


def matching_preview(*, actor: Grower, now: datetime, rule: MatchingRun.Rule | None = None) -> DryRun:
    """What a run would change, for a coordinator; nothing is stored. ``NotFound`` for others."""
    coordinator_only(actor)
    return matching_dry_run(today=_day(now), rule=rule or _usual_rule())


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


def _usual_rule() -> MatchingRun.Rule:
    """The rule of the latest run: an edit must not undo what a coordinator chose."""
    latest = MatchingRun.objects.order_by("-pk").values_list("rule", flat=True).first()
    return MatchingRun.Rule(latest) if latest else MatchingRun.Rule.EACH_GROWER_FIRST
