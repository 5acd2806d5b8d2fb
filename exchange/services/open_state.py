"""Which state of an offer or a wanted cross may follow which."""

from exchange.models.offer import OpenState
from exchange.services.state_table import state_after

ALLOWED: dict[str, frozenset[str]] = {
    OpenState.OPEN: frozenset({OpenState.PAUSED, OpenState.CLOSED}),
    OpenState.PAUSED: frozenset({OpenState.OPEN, OpenState.CLOSED}),
    OpenState.CLOSED: frozenset(),
}


def state_change(present: str, wanted: OpenState, *, what: str) -> OpenState:
    """The wanted state, if the present one allows it; the present one again is no change.

    Raises ``Conflict`` naming both and what would be allowed.
    """
    return wanted if present == wanted else state_after(ALLOWED, present, wanted, what=what)
