"""What may change in an agreement without shame: send less, postpone, send, and its good end."""

from django.db import transaction

from exchange.models import Agreement, AgreementEvent, Reservation
from exchange.selectors.papers import lacking_before_sending
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import ALIVE, State
from exchange.services.deal import Deal, agreement_finish, announce, deal_lock
from exchange.services.supply import doses_release_some, doses_send
from growers.errors import Conflict, FieldProblem
from growers.models import Grower

Kind = AgreementEvent.Kind
EndReason = Agreement.EndReason


def agreement_send_less(*, actor: Grower, agreement: Agreement, doses: int) -> Agreement:
    """Keep only so many of the agreed doses for the recipient; the rest goes back at once.

    The donor alone may say so, before sending; ``InvalidInput`` unless it is fewer and at least one.
    """
    with transaction.atomic():
        deal = donors_deal(actor, agreement)
        reservation = _reserved(deal)
        before = reservation.doses
        doses_release_some(deal.supply(reservation), reservation, doses, deal.now)
        _doses_set(deal, doses)
        event_note(deal.agreement, Kind.SENT_LESS, actor=actor, now=deal.now, doses=doses, before=before)
        announce(deal.agreement.offer)
    return deal.agreement


def agreement_postpone(*, actor: Grower, agreement: Agreement) -> Agreement:
    """Put it off to next season: the doses go back, offer and wanted cross stay as they are."""
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        unsent_only(deal)
        return agreement_finish(deal, State.ENDED, EndReason.POSTPONED, actor=actor, kind=Kind.ENDED)


def agreement_withdraw(*, actor: Grower, agreement: Agreement) -> Agreement:
    """Step back, before or after the second yes, as long as nothing has been sent; doses go back at once."""
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        own = deal.agreement.proposed_by_id == actor.pk
        if deal.agreement.state == State.PROPOSED and not own:
            raise Conflict("This is the other's proposal; decline it instead.")
        unsent_only(deal)
        return agreement_finish(deal, State.ENDED, EndReason.WITHDRAWN, actor=actor, kind=Kind.ENDED)


def agreement_send(*, actor: Grower, agreement: Agreement) -> Agreement:
    """The donor has handed the doses over; they are gone from the supply for good.

    Raises ``Conflict`` unless doses are reserved; across a border while a statement on papers is missing, the
    recipient is not sure, or a current note forbids it, which ends nothing by itself.
    """
    with transaction.atomic():
        deal = donors_deal(actor, agreement)
        reservation = _reserved(deal)
        _papers_check(deal, actor)
        doses_send(deal.supply(reservation), reservation, deal.now)
        deal.agreement.changed_at = deal.now
        deal.agreement.save(update_fields=["changed_at"])
        event_note(deal.agreement, Kind.SENT, actor=actor, now=deal.now, doses=reservation.doses)
        announce(deal.agreement.offer)
    return deal.agreement


def agreement_end(*, actor: Grower, agreement: Agreement) -> Agreement:
    """Close an agreement whose doses have been sent; either side may, and the address is erased."""
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        if deal.agreement.state in ALIVE and not deal.was_sent:
            raise Conflict("Nothing has been sent; withdraw, or put it off to next season.")
        return agreement_finish(deal, State.ENDED, EndReason.DONE, actor=actor, kind=Kind.ENDED)


def donors_deal(actor: Grower, agreement: Agreement) -> Deal:
    """The deal, locked, if the actor is its donor; ``Conflict`` for its recipient, who may well see it."""
    deal = deal_lock(actor, agreement)
    if deal.agreement.donor_id != actor.pk:
        raise Conflict("Only the donor can do this.")
    return deal


def unsent_only(deal: Deal) -> None:
    """``Conflict`` once doses have left: they cannot be called back."""
    if deal.was_sent:
        raise Conflict("The doses have been sent; close the agreement when its story is over.")


def _papers_check(deal: Deal, actor: Grower) -> None:
    lacking = lacking_before_sending(actor, deal.agreement, deal.now.date())
    if lacking:
        problems = tuple(FieldProblem("", told.code, told.detail) for told in lacking)
        raise Conflict(" ".join(told.detail for told in lacking), problems=problems)


def _reserved(deal: Deal) -> Reservation:
    if deal.agreement.state != State.AGREED:
        raise Conflict(
            f"The agreement is {deal.agreement.state}; doses are reserved once both have said yes."
        )
    reservation = deal.reservation
    if reservation is None:
        raise Conflict("The doses have been sent already.")
    return reservation


def _doses_set(deal: Deal, doses: int) -> None:
    deal.agreement.doses, deal.agreement.changed_at = doses, deal.now
    deal.agreement.save(update_fields=["doses", "changed_at"])
