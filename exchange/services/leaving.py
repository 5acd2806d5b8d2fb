"""What a grower leaves behind in deals: nothing that others wait for, and no address."""

from django.db.models import Q

from exchange.models import Address, Agreement, AgreementEvent, Block, CarrierService, Pairing
from exchange.models.offer import OpenState
from exchange.selectors.offer import offers_of
from exchange.selectors.wanted_cross import wanted_crosses_of
from exchange.services.agreement_rule import ALIVE, State
from exchange.services.deal import agreement_finish, deals_alive
from exchange.services.gathering import gatherings_leave
from exchange.services.offer import offer_close
from exchange.services.supply import supplies_lock_all
from exchange.services.wanted_cross import wanted_cross_close
from growers.models import Grower


def deals_leave(*, actor: Grower) -> None:
    """End a grower's agreements, close their offers and wanted crosses, erase what only they needed.

    Must be called in a transaction, before the account is emptied.
    """
    supplies_lock_all(_concerned(actor))
    mine = Agreement.objects.filter(Q(donor=actor) | Q(recipient=actor))
    reason, kind = Agreement.EndReason.ACCOUNT_CLOSED, AgreementEvent.Kind.ENDED
    for deal in deals_alive(mine):
        agreement_finish(deal, State.ENDED, reason, actor=actor, kind=kind)
    gatherings_leave(actor=actor)
    for offer in offers_of(actor).exclude(state=OpenState.CLOSED):
        offer_close(actor=actor, offer=offer)
    for wanted_cross in wanted_crosses_of(actor).exclude(state=OpenState.CLOSED):
        wanted_cross_close(actor=actor, wanted_cross=wanted_cross)
    Address.objects.filter(grower=actor).delete()
    CarrierService.objects.filter(grower=actor).delete()
    Block.objects.filter(Q(grower=actor) | Q(blocked=actor)).delete()


def _concerned(actor: Grower) -> Q:
    """Supplies of all that the actor gives, is given, or is proposed: who says yes now waits for us."""
    given = Q(offer__plant__grower=actor) | Q(lot__plant__grower=actor)
    standing = Pairing.objects.filter(state=Pairing.State.SUGGESTED, wanted_cross__seed_parent__grower=actor)
    alive = Agreement.objects.filter(recipient=actor, state__in=ALIVE)
    offers = (standing.values("offer"), alive.values("offer"))
    taken = [Q(offer__in=rows) | Q(lot__offer__in=rows) for rows in offers]
    return given | taken[0] | taken[1]
