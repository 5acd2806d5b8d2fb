"""The way of a packet through a gathering: asked for, agreed to by all three, declined or taken back."""

from datetime import datetime

from django.db import IntegrityError, transaction

from exchange.models import Agreement, AgreementEvent, Detour, Gathering, Packet
from exchange.selectors.agreement_plan import crosses_border
from exchange.selectors.block import are_hidden
from exchange.selectors.detour_plan import ways_of
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import State as AgreementState
from exchange.services.deal import Deal, deal_lock, deal_lock_by_time
from exchange.services.detour_reckon import plan_set, renewal_set, told_of, ways_today, worth_check
from exchange.services.detour_rule import detour_finish, state_set, under_way, waiting_call_off
from exchange.services.gathering import gathering_locked
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.problem import Problems

Kind = AgreementEvent.Kind
State = Detour.State
NONE = "There is no detour of this agreement."
YOUR_TURN_IS_PAST = "You have said yes already."


def detour_ask(*, actor: Grower, agreement: Agreement, gathering: Gathering) -> Detour:
    """Ask for a place in a gathering: the recipient's yes. The donor is told, and both chances are kept.

    Raises ``NotFound`` for others and for a gathering that they must not meet; ``Conflict`` for the donor,
    without both yeses to the agreement, once something was sent, within one country or to another, while
    another place is asked for, and with both numbers where too little chance would be left.
    """
    named = _named_before(agreement)
    now = clock.now()
    _ask_check(_recipients(actor, agreement), gathering)
    ways = ways_of(agreement, gathering, now.date())
    worth_check(agreement, ways, named)
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        _ask_check(deal.agreement, gathering_locked(gathering))
        _nothing_sent(deal)
        detour = Detour(agreement=deal.agreement, gathering=gathering, told=told_of(ways), plan={})
        detour.recipient_yes_at = detour.created_at = detour.changed_at = now
        detour.least_chance = named
        plan_set(detour, ways, now.date())
        _insert(detour)
        renewal_set(detour, now)
        event_note(deal.agreement, Kind.DETOUR_ASKED, actor=actor, now=now, doses=deal.agreement.doses)
    return detour


def detour_yes(*, actor: Grower, agreement: Agreement, least_chance: float | None = None) -> Detour:
    """The donor's yes: their pollen may go through a third hand, but with no less than the chance they name.

    The steward is told now. Raises ``Conflict`` for the two others, a second time, and with both numbers
    where the chance is less.
    """
    _least_chance_check(least_chance)
    found = _latest(agreement)
    ways = None if found is None or found.state != State.ASKED else ways_today(found)
    with transaction.atomic():
        deal, detour = _locked(actor, agreement)
        if actor.pk != agreement.donor_id:
            raise Conflict("Only the donor says this yes.")
        _open_only(detour)
        if detour.donor_yes_at is not None:
            raise Conflict(YOUR_TURN_IS_PAST)
        detour.least_chance = detour.least_chance if least_chance is None else least_chance
        if ways is not None:
            worth_check(detour.agreement, ways, detour.least_chance)
            plan_set(detour, ways, deal.now.date())
        detour.donor_yes_at = detour.changed_at = deal.now
        detour.save()
        third, doses = detour.gathering.steward, deal.agreement.doses
        event_note(deal.agreement, Kind.DETOUR_DONOR_YES, actor=actor, now=deal.now, third=third, doses=doses)
    return detour


def detour_accept(*, actor: Grower, agreement: Agreement) -> Detour:
    """The steward's yes, the last: from now on the agreement's packets go by way of them.

    It is reckoned anew: raises ``Conflict`` with both numbers where too little chance is left by now.
    """
    found = _latest(agreement)
    ways = None if found is None or found.state != State.ASKED else ways_today(found)
    with transaction.atomic():
        deal, detour = _locked(actor, agreement)
        if actor.pk != detour.gathering.steward_id:
            raise Conflict("Only the steward says this yes.")
        _nothing_sent(deal)
        detour.steward_yes_at = deal.now
        state_set(detour, State.AGREED, deal.now)
        if ways is not None:
            worth_check(detour.agreement, ways, detour.least_chance)
            plan_set(detour, ways, deal.now.date())
            detour.save()
        waiting_call_off(detour.agreement, deal.now)
        event_note(deal.agreement, Kind.DETOUR_AGREED, actor=actor, now=deal.now)
    return detour


def detour_decline(*, actor: Grower, agreement: Agreement) -> Detour:
    """Say no to what was asked; the direct way stays as it was."""
    with transaction.atomic():
        deal, detour = _locked(actor, agreement)
        if _said_yes(actor, detour) and detour.state == State.ASKED:
            raise Conflict("You have said yes to it; withdraw instead.")
        return detour_finish(detour, State.DECLINED, actor=actor, now=deal.now)


def detour_withdraw(*, actor: Grower, agreement: Agreement) -> Detour:
    """Take back one's own yes, as long as nothing has been dispatched by way of the steward."""
    with transaction.atomic():
        deal, detour = _locked(actor, agreement)
        if not _said_yes(actor, detour) and detour.state == State.ASKED:
            raise Conflict("You have not said yes to it; decline it instead.")
        if under_way(deal.agreement):
            raise Conflict("The parcel has been dispatched; its way stays as it was agreed.")
        return detour_finish(detour, State.WITHDRAWN, actor=actor, now=deal.now)


def _recipients(actor: Grower, agreement: Agreement) -> Agreement:
    if actor.pk not in (agreement.donor_id, agreement.recipient_id):
        raise NotFound("There is no such agreement.")
    if actor.pk != agreement.recipient_id:
        raise Conflict("Only the recipient asks for a place in a gathering.")
    return agreement


def _ask_check(agreement: Agreement, gathering: Gathering) -> None:
    steward = gathering.steward
    if are_hidden(steward, agreement.donor) or are_hidden(steward, agreement.recipient):
        raise NotFound("There is no such gathering.")
    if steward.pk in (agreement.donor_id, agreement.recipient_id):
        raise Conflict("The steward is one of the two already; the direct way is the shorter.")
    if gathering.state != Gathering.State.OPEN:
        raise Conflict(f"The gathering is {gathering.state}; it takes in no more.")
    if agreement.state != AgreementState.AGREED:
        raise Conflict(f"The agreement is {agreement.state}; a place is asked for once both have said yes.")
    if not crosses_border(agreement):
        raise Conflict("The parcel stays within one country; it needs no steward.")
    if agreement.wanted_cross.seed_parent.site.cell_country != gathering.country:
        raise Conflict("The gathering is in another country than your plant.")


def _nothing_sent(deal: Deal) -> None:
    gone = Packet.objects.filter(agreement=deal.agreement).exclude(
        holder=deal.agreement.donor, store__isnull=False
    )
    if deal.was_sent or gone.exists():
        raise Conflict("Something of it has been sent already; a detour is agreed before.")


def _insert(detour: Detour) -> None:
    try:
        with transaction.atomic():
            detour.save()
    except IntegrityError as error:
        raise Conflict("A place in a gathering is asked for or agreed already.") from error


def _named_before(agreement: Agreement) -> float | None:
    """What the donor named when it was asked for earlier."""
    earlier = Detour.objects.filter(agreement=agreement, least_chance__isnull=False).order_by("-pk").first()
    return None if earlier is None else earlier.least_chance


def _latest(agreement: Agreement) -> Detour | None:
    rows = Detour.objects.filter(agreement=agreement).order_by("-pk")
    return rows.select_related("agreement__wanted_cross", "gathering__steward", "gathering__site").first()


def _locked(actor: Grower, agreement: Agreement) -> tuple[Deal, Detour]:
    """The agreement's latest detour under its lock, for one of the three; to others there is none."""
    deal = deal_lock_by_time(agreement)
    detour = _latest(agreement)
    side = actor.pk in (agreement.donor_id, agreement.recipient_id)
    if detour is None:
        raise NotFound(NONE if side else "There is no such agreement.")
    told = detour.donor_yes_at is not None and actor.pk == detour.gathering.steward_id
    if not side and not told:
        raise NotFound("There is no such agreement.")
    detour.agreement = deal.agreement
    return deal, detour


def _open_only(detour: Detour) -> None:
    if detour.state != State.ASKED:
        raise Conflict(f"The detour is {detour.state}; nothing is asked any more.")


def _said_yes(actor: Grower, detour: Detour) -> bool:
    yeses: dict[int, datetime | None] = {
        detour.agreement.recipient_id: detour.recipient_yes_at,
        detour.agreement.donor_id: detour.donor_yes_at,
        detour.gathering.steward_id: detour.steward_yes_at,
    }
    return yeses[actor.pk] is not None


def _least_chance_check(least_chance: float | None) -> None:
    problems = Problems()
    if least_chance is not None and not 0.0 <= least_chance <= 1.0:
        problems.add("least_chance", least_chance, "0 to 1")
    problems.refuse_if_any()
