"""What a grower says to a pairing before there is an agreement."""

from django.db import transaction
from django.db.models import Q

from exchange.models import Notification, Pairing
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower
from growers.services import after_commit, change


def pairing_dismiss(*, actor: Grower, pairing: Pairing) -> Pairing:
    """Never show this pairing again; either of its growers may say so, and once more is no change.

    Raises ``NotFound`` for anybody else, ``Conflict`` for one that has been replaced.
    """
    with transaction.atomic():
        own = _own(actor, pairing)
        if own.state == Pairing.State.SUPERSEDED:
            raise Conflict("This pairing is superseded; look for the one that stands now.")
        if own.state == Pairing.State.SUGGESTED:
            own.state, own.changed_at = Pairing.State.DISMISSED, clock.now()
            own.save(update_fields=["state", "changed_at"])
            # Its doses are free for others.
            change.note(Change.Kind.OFFER, own.offer)
            after_commit.start("exchange.matching")
    return own


def pairing_seen(*, actor: Grower, pairing: Pairing) -> Pairing:
    """Note that one has seen a pairing: what one was told of the pair counts as read.

    Raises ``NotFound`` for others than its two growers.
    """
    with transaction.atomic():
        own = _own(actor, pairing)
        told = Notification.objects.filter(
            grower=actor,
            pairing__offer=own.offer_id,
            pairing__wanted_cross=own.wanted_cross_id,
            read_at__isnull=True,
        )
        told.update(read_at=clock.now())
    return own


def _own(actor: Grower, pairing: Pairing) -> Pairing:
    """The locked row of a pairing that the actor is a side of."""
    concerned = Q(offer__plant__grower=actor) | Q(wanted_cross__seed_parent__grower=actor)
    rows = Pairing.objects.select_for_update(of=("self",)).select_related("offer")
    own = rows.filter(concerned, pk=pairing.pk).first()
    if own is None:
        raise NotFound("There is no such pairing.")
    return own
