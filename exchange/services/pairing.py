"""What a grower says to a pairing before there is an agreement."""

from django.db import transaction
from django.db.models import Q

from exchange.models import Pairing
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower
from growers.services import after_commit, change


def pairing_dismiss(*, actor: Grower, pairing: Pairing) -> Pairing:
    """Never show this pairing again; either of its growers may say so, and once more is no change.

    Raises ``NotFound`` for anybody else, ``Conflict`` for one that has been replaced.
    """
    with transaction.atomic():
        concerned = Q(offer__plant__grower=actor) | Q(wanted_cross__seed_parent__grower=actor)
        rows = Pairing.objects.select_for_update(of=("self",)).select_related("offer")
        own = rows.filter(concerned, pk=pairing.pk).first()
        if own is None:
            raise NotFound("There is no such pairing.")
        if own.state == Pairing.State.SUPERSEDED:
            raise Conflict("This pairing is superseded; look for the one that stands now.")
        if own.state == Pairing.State.SUGGESTED:
            own.state, own.changed_at = Pairing.State.DISMISSED, clock.now()
            own.save(update_fields=["state", "changed_at"])
            # Its doses are free for others.
            change.note(Change.Kind.OFFER, own.offer)
            after_commit.start("exchange.matching")
    return own
