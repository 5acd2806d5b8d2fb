"""What a detour is worth today: reckoned anew, kept, and refused below what somebody asked for."""

from datetime import date, datetime, timedelta
from typing import Any

from exchange.models import Agreement, Detour
from exchange.selectors.detour_plan import Ways, ways_of
from exchange.selectors.leg import route_of
from exchange.selectors.plan_record import plan_record
from exchange.services.detour_rule import LIVE, under_way
from exchange.services.due import due_set, register
from exchange.wording.detour import below_named, below_wanted, no_day_works
from growers import clock
from growers.errors import Conflict, FieldProblem

KIND = "detour_plan"
RENEWED_EVERY = timedelta(days=1)


def ways_today(detour: Detour) -> Ways:
    """Both ways as of today; slow, so outside any transaction."""
    return ways_of(detour.agreement, detour.gathering, clock.now().date())


def plan_set(detour: Detour, ways: Ways, today: date) -> None:
    """Keep the plan of the way through the gathering; nothing is saved."""
    detour.planned_on = today
    if ways.by_way is None:
        detour.plan, detour.not_later_than = {**detour.plan, "dates": None}, None
        return
    detour.plan = plan_record(ways.by_way)
    dates = ways.by_way.dates
    detour.not_later_than = None if dates is None else dates.not_later_than


def told_of(ways: Ways) -> dict[str, Any]:
    """The chances of both ways as they are told; None for a way on which no day works."""
    found = {"direct": ways.direct, "by_way": ways.by_way}
    return {name: plan and plan_record(plan)["each_flower"] for name, plan in found.items()}


def worth_check(agreement: Agreement, ways: Ways, named: float | None) -> None:
    """``Conflict`` with both numbers where the detour leaves less than was asked for, or nothing."""
    if ways.by_way is None:
        _refuse("no_day_works", no_day_works())
        return
    chance, wanted = ways.by_way.each_flower.estimate, agreement.wanted_cross.least_chance
    if chance < wanted:
        _refuse("below_wanted", below_wanted(chance, wanted))
    if named is not None and chance < named:
        _refuse("below_named", below_named(chance, named))


def route_check(agreement: Agreement) -> None:
    """Before a parcel to a steward is planned: its plan of today; ``Conflict`` as when it was agreed."""
    detour = route_of(agreement)
    if detour is None:
        return
    ways, today = ways_today(detour), clock.now().date()
    worth_check(detour.agreement, ways, detour.least_chance)
    plan_set(detour, ways, today)
    detour.save(update_fields=["plan", "planned_on", "not_later_than"])


def _refuse(code: str, detail: str) -> None:
    raise Conflict(detail, problems=(FieldProblem("", code, detail),))


def renewal_set(detour: Detour, now: datetime) -> None:
    """Reckon its dates anew each day, as a round of proposals does for the direct way."""
    due_set(kind=KIND, subject_id=detour.pk, due_at=now + RENEWED_EVERY)


@register(KIND)
def detour_plan_due(subject_id: int, now: datetime) -> datetime | None:
    """Renew the plan of a detour that lives; when to look again, None once something goes by it."""
    detour = Detour.objects.select_related("agreement", "gathering__site").get(pk=subject_id)
    if detour.state not in LIVE or under_way(detour.agreement):
        return None
    plan_set(detour, ways_today(detour), now.date())
    fields = {name: getattr(detour, name) for name in ("plan", "planned_on", "not_later_than")}
    Detour.objects.filter(pk=subject_id, state__in=LIVE).update(**fields)
    return now + RENEWED_EVERY
