"""Who is to be told what of a run: one row for one event, and nothing where nothing that matters changed.

Written in the transaction that stores the run: a worker that dies leaves both or neither. Whoever was told
says what they have read.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import cast

from django.db.models import Max

from exchange.models import Notification, Pairing
from exchange.models.offer import OpenState
from growers import clock
from growers.errors import NotFound
from growers.models import Grower

Kind = Notification.Kind
Pair = tuple[int, int]

DAYS_THAT_MATTER = {"season": 14, "days": 2, "clock": 2}
"""A posting day that moved by less, at this precision, is not worth a message (judgement)."""

CHANCE_RATIO_THAT_MATTERS = 1.5
"""A chance that changed by a smaller factor is not worth a message (judgement)."""


def pairings_tell(*, fresh: Sequence[Pairing], gone: Sequence[Pairing]) -> None:
    """Note what both growers of new, changed and withdrawn pairings are to be told.

    New is told only above the least chance asked for. What changed is compared with what was last told, not
    with yesterday, so that a slow drift is told once it matters.
    """
    before = _last_told([*fresh, *gone])
    rows = [row for pairing in fresh for row in _of_fresh(pairing, before.get(_pair(pairing)))]
    rows += [row for pairing in gone for row in _of_gone(pairing, before.get(_pair(pairing)))]
    Notification.objects.bulk_create(rows, ignore_conflicts=True)


def notification_mark_read(*, actor: Grower, notification: Notification) -> None:
    """Note that its grower has read it; the first time counts. ``NotFound`` for anybody else."""
    own = Notification.objects.filter(pk=notification.pk, grower=actor)
    if not own.exists():
        raise NotFound("There is no such notification.")
    own.filter(read_at=None).update(read_at=clock.now())


def notifications_mark_read(*, actor: Grower, told_until: datetime | None = None) -> int:
    """Note that a grower has read all that was told up to an instant, included; how many are left."""
    unread = Notification.objects.filter(grower=actor, read_at=None)
    shown = unread if told_until is None else unread.filter(created_at__lte=told_until)
    shown.update(read_at=clock.now())
    return unread.count()


def _of_fresh(pairing: Pairing, last: Notification | None) -> Iterator[Notification]:
    if last is None or last.kind == Kind.WITHDRAWN:
        if pairing.chance >= pairing.wanted_cross.least_chance:
            yield from _to(_growers(pairing), Kind.PROPOSED, pairing)
    elif _matters(cast(Pairing, last.pairing), pairing):
        yield from _to(_growers(pairing), Kind.CHANGED, pairing)


def _of_gone(pairing: Pairing, last: Notification | None) -> Iterator[Notification]:
    """Nobody is told that they themselves have paused or closed something."""
    if last is not None and last.kind != Kind.WITHDRAWN:
        donor, recipient = _growers(pairing)
        offer_is_open = pairing.offer.state == OpenState.OPEN
        wanted_is_open = pairing.wanted_cross.state == OpenState.OPEN
        concerned = [donor] * offer_is_open + [recipient] * wanted_is_open
        yield from _to(concerned, Kind.WITHDRAWN, pairing)


def _to(growers: Iterable[Grower], kind: Kind, pairing: Pairing) -> Iterator[Notification]:
    for grower in growers:
        if grower.is_active:
            yield Notification(grower=grower, kind=kind, pairing=pairing)


def _growers(pairing: Pairing) -> tuple[Grower, Grower]:
    return pairing.offer.plant.grower, pairing.wanted_cross.seed_parent.grower


def _pair(pairing: Pairing) -> Pair:
    return pairing.offer_id, pairing.wanted_cross_id


def _last_told(pairings: Sequence[Pairing]) -> dict[Pair, Notification]:
    """The latest notification of each pair of an offer and a wanted cross."""
    told = Notification.objects.filter(pairing__offer__in={pairing.offer_id for pairing in pairings})
    latest = told.values("pairing__offer", "pairing__wanted_cross").annotate(last=Max("pk"))
    keys = list(latest.values_list("last", flat=True))
    rows = Notification.objects.filter(pk__in=keys).select_related("pairing")
    return {_pair(cast(Pairing, row.pairing)): row for row in rows}


def _matters(told: Pairing, now: Pairing) -> bool:
    low, high = sorted((told.chance, now.chance))
    return (
        told.allocated_doses != now.allocated_doses
        or high > CHANCE_RATIO_THAT_MATTERS * low
        or _dates_moved(told, now)
    )


def _dates_moved(told: Pairing, now: Pairing) -> bool:
    """Whether a date is named, withdrawn or moved; "at once" is another day each day and no news."""
    if (told.post_on is None) != (now.post_on is None):
        return True
    last_day = _moved(told, now, "not_later_than")
    at_once = all((row.plan["dates"] or {}).get("send_at_once", False) for row in (told, now))
    return last_day or (not at_once and _moved(told, now, "post_on"))


def _moved(told: Pairing, now: Pairing, name: str) -> bool:
    before, after = getattr(told, name), getattr(now, name)
    if before is None or after is None:
        return before is not after
    return bool(abs((after - before).days) >= DAYS_THAT_MATTER[now.plan["precision"]])
