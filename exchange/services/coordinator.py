"""The role of a coordinator: given and taken by whoever runs the server, asked for by what needs it."""

from django.utils.translation import gettext as _

from exchange.models import Coordinator
from exchange.selectors.coordinator import is_coordinator
from growers.errors import NotFound
from growers.handle import skeleton
from growers.models import Grower


def coordinator_grant(*, handle: str) -> Grower:
    """Make the grower of a handle a coordinator; once more is no change. ``NotFound`` if there is none."""
    grower = _known_as(handle)
    Coordinator.objects.get_or_create(grower=grower)
    return grower


def coordinator_revoke(*, handle: str) -> Grower:
    """Take the role from the grower of a handle; at once, whatever token they hold."""
    grower = _known_as(handle)
    Coordinator.objects.filter(grower=grower).delete()
    return grower


def coordinator_only(actor: Grower) -> None:
    """``NotFound`` unless the actor is a coordinator now: others are not told what there is."""
    if not is_coordinator(actor):
        raise NotFound(_("There is no such thing, or it is not yours to see."))


def _known_as(handle: str) -> Grower:
    grower = Grower.objects.filter(handle_skeleton=skeleton(handle), closed_at=None).first()
    if grower is None:
        raise NotFound(f"There is no grower with the handle {handle!r}.")
    return grower
