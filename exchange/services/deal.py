"""The lock under which every deal is changed, and the one way in which an agreement comes to its end.

Supplies first, in the order of their ids, then agreements: whoever changes doses or an agreement of an
offer waits here for whoever was first, and finds what has run out let go.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from exchange.models import Agreement, AgreementAddress, AgreementEvent, Offer, Reservation, Supply
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import ALIVE, ALLOWED, State
from exchange.services.detour_rule import detour_of_ended
from exchange.services.due import due_cancel
from exchange.services.state_table import state_after
from exchange.services.supply import (
    doses_release,
    lapsed_release,
    reservation_of,
    supplies_lock,
    supplies_lock_all,
)
from growers import clock
from growers.errors import NotFound
from growers.models import Change, Grower
from growers.services import after_commit, change

EndReason = Agreement.EndReason
DUE_KINDS = ("agreement_lapse", "agreement_next_donor", "agreement_reservation", "agreement_silence")


@dataclass
class Deal:
    """An offer's supplies, locked, and one of its agreements, locked and read anew."""

    agreement: Agreement
    supplies: list[Supply]
    now: datetime

    @property
    def reservation(self) -> Reservation | None:
        """The doses that are reserved now."""
        return reservation_of(self.agreement)

    @property
    def was_sent(self) -> bool:
        """Whether doses have left the donor; they cannot be called back."""
        return self.agreement.reservations.filter(state=Reservation.State.USED).exists()

    def supply(self, reservation: Reservation) -> Supply:
        """The locked supply in which a reservation counts."""
        return next(supply for supply in self.supplies if supply.pk == reservation.supply_id)


def deal_lock(actor: Grower, agreement: Agreement) -> Deal:
    """Lock an agreement of the actor's; must be called in a transaction. ``NotFound`` for others."""
    if actor.pk not in (agreement.donor_id, agreement.recipient_id):
        raise NotFound("There is no such agreement.")
    return deal_lock_by_time(agreement)


def deal_lock_by_time(agreement: Agreement) -> Deal:
    """The same where no grower acts."""
    supplies = offer_lock(agreement.offer)
    return Deal(agreements_locked(agreement.offer).get(pk=agreement.pk), supplies, clock.now())


def deals_alive(agreements: QuerySet[Agreement]) -> Iterator[Deal]:
    """Those of several agreements that live, one after the other, each locked and read anew.

    All their supplies are locked before the first agreement is; all of it in one transaction.
    """
    rows = list(agreements.filter(state__in=ALIVE).select_related("offer").order_by("pk"))
    offers = {row.offer_id for row in rows}
    supplies_lock_all(Q(offer__in=offers) | Q(lot__offer__in=offers))
    for row in rows:
        deal = deal_lock_by_time(row)
        if deal.agreement.state in ALIVE:
            yield deal


def agreements_locked(offer: Offer) -> QuerySet[Agreement]:
    """All agreements of an offer, locked in the order of their ids, with what services read of them."""
    rows = Agreement.objects.select_for_update(of=("self",)).filter(offer=offer).order_by("pk")
    return rows.select_related(
        "offer__plant__site", "wanted_cross__seed_parent__site", "donor", "recipient", "pairing"
    )


def offer_lock(offer: Offer) -> list[Supply]:
    """Lock the supplies of an offer and let go what has run out: reservations, and single yeses."""
    now = clock.now()
    supplies = supplies_lock(offer)
    for reservation in lapsed_release(supplies, now):
        _lapse(reservation.agreement, EndReason.TIME_RAN_OUT, reservation.reserved_until, now)
    # Hardly ever is there one: what would be read of it is not joined.
    unanswered = Agreement.objects.filter(offer=offer, state=State.PROPOSED, lapses_at__lte=now)
    for agreement in unanswered.select_for_update().order_by("pk"):
        _lapse(agreement, EndReason.NO_ANSWER, agreement.lapses_at, now)
    return supplies


def state_set(deal: Deal, state: State) -> None:
    """Let an agreement go on to a state that may follow; ``Conflict`` if it may not."""
    deal.agreement.state = state_after(ALLOWED, deal.agreement.state, state, what="agreement")


def agreement_finish(
    deal: Deal,
    state: State,
    reason: EndReason,
    *,
    actor: Grower | None,
    kind: AgreementEvent.Kind,
    **parameters: Any,
) -> Agreement:
    """End an agreement: its doses go back, its address is erased, the other side is told."""
    state_set(deal, state)
    reservation = deal.reservation
    if reservation is not None:
        doses_release(deal.supply(reservation), reservation, deal.now)
    _close(deal.agreement, reason, deal.now)
    event_note(deal.agreement, kind, actor=actor, now=deal.now, reason=str(reason), **parameters)
    announce(deal.agreement.offer)
    return deal.agreement


def announce(offer: Offer) -> None:
    """What an offer still has has changed: the doses are shared out anew."""
    change.note(Change.Kind.OFFER, offer)
    after_commit.start("exchange.matching")


def _lapse(agreement: Agreement, reason: EndReason, at: datetime, now: datetime) -> None:
    agreement.state = state_after(ALLOWED, agreement.state, State.LAPSED, what="agreement")
    _close(agreement, reason, now, ended_at=at)
    event_note(agreement, AgreementEvent.Kind.LAPSED, actor=None, now=now, reason=str(reason))
    announce(agreement.offer)


def _close(
    agreement: Agreement, reason: EndReason, now: datetime, *, ended_at: datetime | None = None
) -> None:
    agreement.end_reason, agreement.ended_at, agreement.changed_at = reason, ended_at or now, now
    agreement.save(update_fields=["state", "end_reason", "ended_at", "changed_at"])
    AgreementAddress.objects.filter(agreement=agreement).delete()
    detour_of_ended(agreement, now)
    for kind in DUE_KINDS:
        due_cancel(kind=kind, subject_id=agreement.pk)
