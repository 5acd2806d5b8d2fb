"""There is less pollen than was promised: who still gets what, by the order in which it was agreed."""

from datetime import datetime
from typing import Any

from django.db import transaction

from exchange.models import Agreement, AgreementEvent, MatchingRun, Offer, Reservation, Supply
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import State
from exchange.services.deal import Deal, agreement_finish, agreements_locked, announce, offer_lock
from exchange.services.offer_part import Part, part_of
from exchange.services.supply import doses_release_some, total_set
from growers import clock
from growers.errors import FieldProblem, InvalidInput, NotFound
from growers.models import Grower

Kind = AgreementEvent.Kind


def offer_came_up_short(*, actor: Grower, offer: Offer, doses: int, part: Part = None) -> list[Agreement]:
    """Say that only so many doses of a part are there, sent ones not counted; the agreements that lose some.

    What is kept back goes first. Then, by the rule of the latest matching run, each grower keeps one dose
    before anybody keeps a second, or whoever agreed first keeps all; in both the earlier agreement comes
    first. Raises ``NotFound`` for others, ``InvalidInput`` unless it is fewer than there were, ``Conflict``
    where no part is named and doses lie in several.
    """
    with transaction.atomic():
        if offer.plant.grower_id != actor.pk:
            raise NotFound("There is no such offer.")
        supplies = offer_lock(offer)
        supply = part_of(supplies, part)
        _fewer_check(supply, doses)
        now = clock.now()
        _keep_back_less(supply, doses)
        shares = shares_of(_promised(supply), doses, one_each=_one_each())
        lost = [
            agreement
            for reservation, kept in shares
            if (agreement := _cut(offer, supplies, supply, reservation, kept, actor, now)) is not None
        ]
        total_set(supply, doses + supply.sent)
        announce(offer)
    return lost


def shares_of(promised: list[Reservation], doses: int, *, one_each: bool) -> list[tuple[Reservation, int]]:
    """How many doses each reservation keeps, the earliest agreed first; at most ``doses`` in all."""
    kept = dict.fromkeys(range(len(promised)), 0)
    growers: set[int] = set()
    if one_each:
        for index, reservation in enumerate(promised):
            if doses and reservation.agreement.recipient_id not in growers:
                growers.add(reservation.agreement.recipient_id)
                kept[index], doses = 1, doses - 1
    for index, reservation in enumerate(promised):
        more = min(doses, reservation.doses - kept[index])
        kept[index], doses = kept[index] + more, doses - more
    return [(reservation, kept[index]) for index, reservation in enumerate(promised)]


def _fewer_check(supply: Supply, doses: int) -> None:
    there = supply.total - supply.sent
    if not 0 <= doses < there:
        allowed = f"0 to {there - 1}, fewer than there were" if there else "nothing: none is left"
        detail = f"doses is {doses}; allowed: {allowed}."
        problem = FieldProblem("/doses", "not_allowed", detail, str(doses), allowed)
        raise InvalidInput(detail, problems=(problem,))


def _keep_back_less(supply: Supply, doses: int) -> None:
    supply.kept_back = min(supply.kept_back, max(0, doses - supply.reserved))
    supply.save(update_fields=["kept_back"])


def _promised(supply: Supply) -> list[Reservation]:
    """Active reservations of a supply, the earliest agreed first."""
    rows = supply.reservations.filter(state=Reservation.State.ACTIVE)
    return list(rows.select_related("agreement").order_by("agreement__agreed_at", "pk"))


def _one_each() -> bool:
    latest = MatchingRun.objects.order_by("-pk").values_list("rule", flat=True).first()
    return latest != MatchingRun.Rule.MOST_CAPSULES


def _cut(
    offer: Offer,
    supplies: list[Supply],
    supply: Supply,
    reservation: Reservation,
    kept: int,
    actor: Grower,
    now: datetime,
) -> Agreement | None:
    """Let a reservation keep so many doses; without any its agreement ends."""
    if kept == reservation.doses:
        return None
    agreement = agreements_locked(offer).get(pk=reservation.agreement_id)
    deal = Deal(agreement, supplies, now)
    told: dict[str, Any] = {"doses": kept, "before": reservation.doses}
    if kept == 0:
        reason = Agreement.EndReason.CAME_UP_SHORT
        return agreement_finish(deal, State.ENDED, reason, actor=actor, kind=Kind.CAME_UP_SHORT, **told)
    doses_release_some(supply, reservation, kept, now)
    agreement.doses, agreement.changed_at = kept, now
    agreement.save(update_fields=["doses", "changed_at"])
    event_note(agreement, Kind.CAME_UP_SHORT, actor=actor, now=now, **told)
    return agreement
