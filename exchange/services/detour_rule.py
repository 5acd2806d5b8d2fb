"""Rules of detours: which state follows which, what is called off with one, and when it is too late."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import QuerySet

from exchange.models import Agreement, AgreementEvent, Detour, Shipment
from exchange.selectors.parcel_plan import WAITING
from exchange.services.agreement_event import event_note, event_tell_only
from exchange.services.shipment_rule import parcel_call_off
from exchange.services.state_table import state_after
from growers.models import Grower

Kind = AgreementEvent.Kind
State = Detour.State

ALLOWED: dict[str, frozenset[str]] = {
    State.ASKED: frozenset({State.AGREED, State.DECLINED, State.WITHDRAWN}),
    State.AGREED: frozenset({State.WITHDRAWN, State.DONE}),
    State.DECLINED: frozenset(),
    State.WITHDRAWN: frozenset(),
    State.DONE: frozenset(),
}
LIVE = (State.ASKED, State.AGREED)
ENDS = {State.DECLINED: Kind.DETOUR_DECLINED, State.WITHDRAWN: Kind.DETOUR_WITHDRAWN}


def state_set(detour: Detour, state: Detour.State, now: datetime) -> None:
    """Let a detour go on to a state that may follow, and store it; ``Conflict`` if it may not."""
    detour.state = state_after(ALLOWED, detour.state, state, what="detour")
    detour.changed_at = now
    if state != State.AGREED:
        detour.ended_at = now
    detour.save()


def detour_finish(detour: Detour, state: Detour.State, *, actor: Grower, now: datetime) -> Detour:
    """End a detour before anything went by it; whoever was told of it hears, the direct way is as before."""
    state_set(detour, state, now)
    waiting_call_off(detour.agreement, now)
    third = steward_told(detour)
    event_note(detour.agreement, ENDS[state], actor=actor, now=now, third=third)
    return detour


def detours_withdraw(detours: Iterable[Detour], *, actor: Grower, now: datetime) -> None:
    """Take back all of these by which nothing has gone."""
    for detour in detours:
        if detour.state in LIVE and not under_way(detour.agreement):
            detour_finish(detour, State.WITHDRAWN, actor=actor, now=now)


def detour_of_ended(agreement: Agreement, now: datetime) -> None:
    """An agreement has ended, and with it its detour; of its two growers nobody is told twice."""
    detour = live_detours().filter(agreement=agreement).first()
    if detour is None:
        return
    has_gone = under_way(agreement)
    state_set(detour, State.DONE if has_gone and detour.state == State.AGREED else State.WITHDRAWN, now)
    waiting_call_off(agreement, now)
    third = steward_told(detour)
    if third is not None and not has_gone:
        event_tell_only(agreement, Kind.DETOUR_WITHDRAWN, told=third, now=now)


def waiting_call_off(agreement: Agreement, now: datetime) -> None:
    """End parcels that wait: they were planned for another way. Their packets are free for a new one."""
    for shipment in agreement.shipments.filter(state__in=WAITING).order_by("pk"):
        parcel_call_off(shipment, now)


def under_way(agreement: Agreement) -> bool:
    """Whether a parcel of it has been dispatched and has not come back."""
    sent = agreement.shipments.filter(dispatched_at__isnull=False)
    return sent.exclude(state=Shipment.State.RETURNED).exists()


def steward_told(detour: Detour) -> Grower | None:
    """The steward, once the two others have said yes: before that they know nothing of it."""
    return None if detour.donor_yes_at is None else detour.gathering.steward


def live_detours() -> QuerySet[Detour]:
    """Detours that are asked for or agreed, with what services read of them."""
    rows = Detour.objects.filter(state__in=LIVE).order_by("pk")
    return rows.select_related(
        "agreement__donor", "agreement__recipient", "gathering__steward", "gathering__site"
    )
