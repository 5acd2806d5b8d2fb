"""Blocking: two growers do not meet any more, and the other hears nothing but that an agreement has ended.

What stood between them ends in the words of an ordinary end, so that nobody can read a block from it.
"""

from django.db import transaction
from django.db.models import Q

from exchange.models import Agreement, AgreementEvent, Block, Pairing
from exchange.selectors.block import between
from exchange.services.agreement_rule import State
from exchange.services.deal import Deal, agreement_finish, deals_alive
from exchange.services.detour_rule import detours_withdraw, live_detours
from exchange.services.supply import supplies_lock_all
from growers import clock
from growers.errors import NotFound
from growers.models import Change, Grower
from growers.services import after_commit, change

Kind = AgreementEvent.Kind
EndReason = Agreement.EndReason


def block_create(*, actor: Grower, blocked: Grower, handle_known: bool = True) -> Block:
    """Hide two growers from each other; agreements between them end, pairings are proposed no more.

    Once more is no change, but a handle that is known now stays known. Raises ``NotFound`` for oneself and
    for a closed account.
    """
    if blocked.pk == actor.pk or not blocked.is_active:
        raise NotFound("There is no such grower.")
    with transaction.atomic():
        # Whoever says yes at this moment waits for us and then finds the block, or was first and is found.
        supplies_lock_all(_given_by([actor, blocked]))
        block, is_new = Block.objects.get_or_create(
            grower=actor, blocked=blocked, defaults={"handle_known": handle_known, "created_at": clock.now()}
        )
        if is_new:
            _part(actor, blocked)
            _announce(actor, blocked)
        elif handle_known and not block.handle_known:
            block.handle_known = True
            block.save(update_fields=["handle_known"])
    return block


def block_remove(*, actor: Grower, block: Block) -> None:
    """Take one's own block back; what has ended stays so, and only matching proposes anew."""
    with transaction.atomic():
        own = Block.objects.filter(pk=block.pk, grower=actor).select_related("blocked").first()
        if own is None:
            raise NotFound("There is no such block.")
        own.delete()
        _announce(actor, own.blocked)


def _part(actor: Grower, other: Grower) -> None:
    agreements = Agreement.objects.filter(between("donor", "recipient", actor, other))
    for deal in deals_alive(agreements):
        _end(deal, actor)
    _part_on_the_way(actor, other)
    standing = Pairing.objects.filter(state=Pairing.State.SUGGESTED)
    pairs = standing.filter(
        between("offer__plant__grower", "wanted_cross__seed_parent__grower", actor, other)
    )
    # A run that stores at this moment is waited for: what it replaced is found by the second query.
    list(pairs.select_for_update(of=("self",)).order_by("pk"))
    pairs.update(state=Pairing.State.SUPERSEDED, changed_at=clock.now())


def _part_on_the_way(actor: Grower, other: Grower) -> None:
    """Take back detours on which the one is steward to the other, unless something goes by them."""
    met = Q()
    for steward, side in ((actor, other), (other, actor)):
        as_side = Q(agreement__donor=side) | Q(agreement__recipient=side)
        met |= Q(gathering__steward=steward) & as_side
    rows = live_detours().filter(met)
    list(deals_alive(Agreement.objects.filter(pk__in=rows.values("agreement"))))
    detours_withdraw(rows, actor=actor, now=clock.now())


def _end(deal: Deal, actor: Grower) -> None:
    """End an agreement in the way that would be open to the actor without any block."""
    if deal.agreement.state == State.PROPOSED and deal.agreement.proposed_by_id != actor.pk:
        agreement_finish(deal, State.DECLINED, EndReason.OTHER, actor=actor, kind=Kind.DECLINED)
        return
    reason = EndReason.DONE if deal.was_sent else EndReason.WITHDRAWN
    agreement_finish(deal, State.ENDED, reason, actor=actor, kind=Kind.ENDED)


def _given_by(growers: list[Grower]) -> Q:
    return Q(offer__plant__grower__in=growers) | Q(lot__plant__grower__in=growers)


def _announce(one: Grower, other: Grower) -> None:
    change.note_all(Change.Kind.GROWER, [one, other])
    after_commit.start("exchange.matching")
