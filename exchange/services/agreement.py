"""Agreements: the first yes proposes, the second agrees and reserves the doses in the same transaction."""

from collections.abc import Sequence
from datetime import datetime
from typing import TypedDict, Unpack

from django.db import IntegrityError, transaction

from exchange.models import Agreement, AgreementEvent, Pairing
from exchange.models.agreement import PostFrom
from exchange.models.offer import OpenState
from exchange.selectors.agreement_plan import crosses_border, next_donor, standing_pairing
from exchange.selectors.block import are_hidden
from exchange.services.agreement_address import copy_attach
from exchange.services.agreement_due import agreed_due_set, proposed_due_set
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import ALIVE, MOST_OPEN_PROPOSALS, State, lapse_time, reserved_until
from exchange.services.deal import Deal, agreement_finish, announce, deal_lock, offer_lock, state_set
from exchange.services.supply import DosesShort, doses_reserve
from exchange.services.term import terms_agreed
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.problem import Problems

Kind = AgreementEvent.Kind
EndReason = Agreement.EndReason
DECLINE_REASONS = (
    EndReason.NOT_THIS_YEAR,
    EndReason.NOT_ENOUGH_POLLEN,
    EndReason.NOT_IN_BLOOM,
    EndReason.FOUND_ELSEWHERE,
    EndReason.OTHER,
)


class Yes(TypedDict, total=False):
    """What belongs to a yes: the taker ticks the terms, the donor says whose name is on the parcel."""

    terms: Sequence[str] | None
    post_from: str


def agreement_propose(*, actor: Grower, pairing: Pairing, doses: int, **yes: Unpack[Yes]) -> Agreement:
    """Say the first yes to a pairing; nothing is reserved before the other says yes too.

    Raises ``NotFound`` for others than its two growers, ``Conflict`` if it no longer stands or the two
    are in an agreement about it already, ``DosesShort`` if fewer doses are left now, ``InvalidInput`` for
    terms not ticked, or a donor who has not chosen whose address the parcel across a border shows.
    """
    with transaction.atomic():
        supplies = offer_lock(pairing.offer)
        own = _pairing_of(actor, pairing)
        now = clock.now()
        agreement = _proposed(own, actor, doses, now)
        _doses_check(agreement)
        _say_yes(agreement, actor, yes, now)
        left = max((supply.left for supply in supplies), default=0)
        if doses > left:
            raise _short(agreement, actor, left)
        _insert(agreement)
        event_note(agreement, Kind.PROPOSED, actor=actor, now=now, doses=doses)
        proposed_due_set(agreement, now)
    return agreement


def agreement_accept(
    *, actor: Grower, agreement: Agreement, doses: int | None = None, **yes: Unpack[Yes]
) -> Agreement:
    """Say the second yes: the doses are reserved, or nothing has happened.

    A donor may give fewer ``doses`` than were asked for. Raises ``NotFound`` for others, ``Conflict`` for
    whoever said the first yes or where the state forbids it, ``DosesShort`` with what is left,
    ``InvalidInput`` as for the first yes.
    """
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        if deal.agreement.proposed_by_id == actor.pk:
            raise Conflict("You have said yes already; now it is the other's turn.")
        state_set(deal, State.AGREED)
        _fewer(deal.agreement, actor, doses)
        _say_yes(deal.agreement, actor, yes, deal.now)
        return _agree(deal, actor)


def agreement_decline(*, actor: Grower, agreement: Agreement, reason: str) -> Agreement:
    """Say no to the other's first yes, with a reason that the other reads in a kind sentence."""
    if reason not in DECLINE_REASONS:
        problems = Problems()
        problems.add("reason", reason, ", ".join(DECLINE_REASONS))
        problems.refuse_if_any()
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        if deal.agreement.proposed_by_id == actor.pk and deal.agreement.state == State.PROPOSED:
            raise Conflict("This is your own proposal; withdraw it instead.")
        return agreement_finish(deal, State.DECLINED, EndReason(reason), actor=actor, kind=Kind.DECLINED)


def _pairing_of(actor: Grower, pairing: Pairing) -> Pairing:
    own = (
        Pairing.objects.select_related("offer__plant__site", "wanted_cross__seed_parent__site")
        .select_related("offer__plant__grower", "wanted_cross__seed_parent__grower")
        .get(pk=pairing.pk)
    )
    donor, recipient = own.offer.plant.grower, own.wanted_cross.seed_parent.grower
    if actor.pk not in (donor.pk, recipient.pk) or are_hidden(donor, recipient):
        raise NotFound("There is no such pairing.")
    if own.state != Pairing.State.SUGGESTED:
        raise Conflict(f"This pairing is {own.state}; look for the one that stands now.")
    if {own.offer.state, own.wanted_cross.state} != {OpenState.OPEN}:
        raise Conflict("The offer or the wanted cross is not open any more.")
    return own


def _proposed(pairing: Pairing, actor: Grower, doses: int, now: datetime) -> Agreement:
    return Agreement(
        pairing=pairing,
        offer=pairing.offer,
        wanted_cross=pairing.wanted_cross,
        donor=pairing.offer.plant.grower,
        recipient=pairing.wanted_cross.seed_parent.grower,
        proposed_by=actor,
        doses=doses,
        lapses_at=lapse_time(pairing, now),
        created_at=now,
        changed_at=now,
    )


def _doses_check(agreement: Agreement) -> None:
    flowers = agreement.wanted_cross.flowers
    if not 1 <= agreement.doses <= flowers:
        allowed = f"1 to {flowers}, one for each flower of the wanted cross"
        _refuse("doses", agreement.doses, allowed)


def _fewer(agreement: Agreement, actor: Grower, doses: int | None) -> None:
    if doses is None or doses == agreement.doses:
        return
    if actor.pk != agreement.donor_id or not 1 <= doses <= agreement.doses:
        _refuse("doses", doses, f"{agreement.doses}, or fewer if the donor says so")
    agreement.doses = doses


def _say_yes(agreement: Agreement, actor: Grower, yes: Yes, now: datetime) -> None:
    if actor.pk == agreement.recipient_id:
        _donors_only(yes)
        agreement.terms = terms_agreed(agreement.offer.terms, yes.get("terms"), actor.language)
        agreement.terms_language, agreement.terms_worded_at = actor.language, now
        return
    if yes.get("terms"):
        _refuse("terms", "ticked", "nothing from the donor; whoever takes the pollen ticks them")
    agreement.post_from = yes.get("post_from", "")
    if agreement.post_from not in (*PostFrom.values, "") or (
        crosses_border(agreement) and not agreement.post_from
    ):
        allowed = f"{', '.join(PostFrom.values)}: customs papers usually show this name and address"
        _refuse("post_from", agreement.post_from, allowed)


def _donors_only(yes: Yes) -> None:
    if yes.get("post_from"):
        _refuse("post_from", yes["post_from"], "nothing from whoever takes the pollen; the donor chooses")


def _insert(agreement: Agreement) -> None:
    alive = Agreement.objects.filter(state__in=ALIVE)
    same = alive.filter(offer=agreement.offer, wanted_cross=agreement.wanted_cross)
    if same.exists():
        raise Conflict("There is an agreement or a proposal about this pairing already; answer that one.")
    mine = alive.filter(state=State.PROPOSED, proposed_by=agreement.proposed_by)
    if mine.count() >= MOST_OPEN_PROPOSALS:
        raise Conflict(
            f"{MOST_OPEN_PROPOSALS} of your proposals wait for an answer; withdraw one, or let them answer."
        )
    try:
        with transaction.atomic():
            agreement.save(force_insert=True)
    except IntegrityError as error:
        raise Conflict("Somebody else wrote the same thing at this moment; try again.") from error


def _agree(deal: Deal, actor: Grower) -> Agreement:
    agreement, now = deal.agreement, deal.now
    pairing = standing_pairing(agreement) or agreement.pairing
    until = reserved_until(pairing, now)
    try:
        doses_reserve(deal.supplies, agreement, until=until, now=now)
    except DosesShort as error:
        raise _short(agreement, actor, error.left) from error
    agreement.agreed_at = agreement.changed_at = now
    agreement.save()
    copy_attach(agreement, now)
    event_note(agreement, Kind.AGREED, actor=actor, now=now, doses=agreement.doses)
    agreed_due_set(agreement, pairing, until)
    announce(agreement.offer)
    return agreement


def _short(agreement: Agreement, actor: Grower, left: int) -> DosesShort:
    """What is left, and to the recipient who else could send pollen."""
    other = next_donor(agreement) if actor.pk == agreement.recipient_id else None
    return DosesShort(agreement.doses, left, elsewhere=str(other.public_id) if other is not None else "")


def _refuse(name: str, value: object, allowed: str) -> None:
    problems = Problems()
    problems.add(name, value, allowed)
    problems.refuse_if_any()
