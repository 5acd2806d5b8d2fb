"""Which state of an offer or a wanted cross may follow which."""

from exchange.models.offer import OpenState
from growers.errors import Conflict

ALLOWED: dict[str, frozenset[str]] = {
    OpenState.OPEN: frozenset({OpenState.PAUSED, OpenState.CLOSED}),
    OpenState.PAUSED: frozenset({OpenState.OPEN, OpenState.CLOSED}),
    OpenState.CLOSED: frozenset(),
}


def state_change(present: str, wanted: OpenState, *, what: str) -> OpenState:
    """The wanted state, if the present one allows it; the present one again is no change.

    Raises ``Conflict`` naming both and what would be allowed.
    """
    if present == wanted or wanted in ALLOWED[present]:
        return wanted
    possible = ", ".join(sorted(ALLOWED[present])) or "nothing: it is over"
    raise Conflict(f"The {what} is {present} and cannot become {wanted}; allowed: {possible}.")
