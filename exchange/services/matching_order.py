"""Runs at the wish of a coordinator: ordered at once, carried out by whoever does what is due.

Whoever asks need not wait for the answer as long as a run takes. A worker that is killed leaves claims that
run out; the order is then begun again, and a run over unchanged input is the earlier run.
"""

import logging
from datetime import datetime, timedelta

from django.db import InterfaceError, OperationalError, transaction
from django.db.models import F

from exchange.models import MatchingOrder, MatchingRun
from exchange.services.coordinator import coordinator_only
from exchange.services.due import due_set, register
from exchange.services.lease import Held, LeaseLost, leased
from exchange.services.rescoring import KIND as RUN
from exchange.services.rescoring import run_held, usual_rule
from growers import clock
from growers.errors import Conflict
from growers.models import Grower
from growers.services import after_commit

KIND = "matching_order"
LATER = timedelta(seconds=30)
"""How long an order stands back while another run is going on (judgement)."""

MOST_STARTS = 3
"""An order that was begun so often and never ended is given up (judgement)."""

ONCE_MORE = (LeaseLost, OperationalError, InterfaceError)
"""The run was overtaken, or the database was away: begun again later, and nobody's mistake."""

State = MatchingOrder.State

log = logging.getLogger(__name__)


def matching_order(*, actor: Grower, now: datetime, rule: MatchingRun.Rule | None = None) -> MatchingOrder:
    """Order a run by a rule, that of the latest run if none is stated; it stays for the runs after it.

    While one by the same rule waits, it is that one. Raises ``NotFound`` for all but coordinators.
    """
    coordinator_only(actor)
    with transaction.atomic():
        order = _waiting(actor, rule or usual_rule())
        due_set(kind=KIND, subject_id=order.pk, due_at=now)
        after_commit.start("exchange.due.sweep")
    return order


def _waiting(actor: Grower, rule: MatchingRun.Rule) -> MatchingOrder:
    """The order that waits, locked; ours if there is no other."""
    MatchingOrder.objects.bulk_create([MatchingOrder(ordered_by=actor, rule=rule)], ignore_conflicts=True)
    waiting = MatchingOrder.objects.select_for_update().filter(rule=rule, state=State.WAITING).first()
    if waiting is None:
        raise Conflict("An order by this rule was begun at this very moment; try again.")
    return waiting


@register(KIND)
def matching_order_due(subject_id: int, now: datetime) -> datetime | None:
    """Carry an order out; it stands back while another run is going on."""
    order = MatchingOrder.objects.filter(pk=subject_id, state__in=(State.WAITING, State.RUNNING)).first()
    if order is None:
        return None
    with leased(RUN, now) as held:
        if held is None:
            return now + LATER
        if order.starts >= MOST_STARTS:
            log.error("matching order %s was begun %s times and never ended", order.public_id, order.starts)
            _end(order, State.FAILED)
        else:
            _carry_out(order, held)
    return None


def _carry_out(order: MatchingOrder, held: Held) -> None:
    rows = MatchingOrder.objects.filter(pk=order.pk)
    rows.update(state=State.RUNNING, started_at=clock.now(), starts=F("starts") + 1)
    try:
        run = run_held(held, rule=MatchingRun.Rule(order.rule))
    except ONCE_MORE:
        raise
    except Exception:
        log.exception("matching order %s failed", order.public_id)
        _end(order, State.FAILED)
    else:
        _end(order, State.DONE, run)


def _end(order: MatchingOrder, state: State, run: MatchingRun | None = None) -> None:
    ended = {"state": state, "run": run, "finished_at": clock.now()}
    MatchingOrder.objects.filter(pk=order.pk).exclude(state=State.DONE).update(**ended)
