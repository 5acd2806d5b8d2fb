"""Which state may follow which: one refusal in the same words for everything that has states."""

from collections.abc import Mapping
from typing import TypeVar

from growers.errors import Conflict

State = TypeVar("State", bound=str)
Table = Mapping[str, frozenset[str]]


def state_after(table: Table, present: str, wanted: State, *, what: str) -> State:
    """The wanted state, if the table lets it follow the present one.

    Raises ``Conflict`` naming both and what would be allowed.
    """
    if wanted in table[present]:
        return wanted
    possible = ", ".join(sorted(table[present])) or "nothing: it is over"
    raise Conflict(f"The {what} is {present} and cannot become {wanted}; allowed: {possible}.")
