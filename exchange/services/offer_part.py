"""Which part of an offer is meant: a lot, or what is still to be collected; each counts doses by itself."""

from collections.abc import Sequence
from typing import Literal

from exchange.models import Lot, Supply
from growers.errors import Conflict, NotFound

Part = Lot | Literal["to_be_collected"] | None
"""None means the only part that still has doses."""


def part_of(supplies: Sequence[Supply], part: Part) -> Supply:
    """The supply of a part among an offer's, locked.

    Raises ``NotFound`` for a lot of another offer or nothing left to be collected, ``Conflict`` where no part
    is named and not exactly one still has doses.
    """
    if part is None:
        return _only(supplies)
    lot_id = part.pk if isinstance(part, Lot) else None
    found = next((supply for supply in supplies if supply.lot_id == lot_id), None)
    if found is None:
        raise NotFound(
            "This offer has no such lot." if lot_id else "Nothing of this offer is to be collected."
        )
    return found


def _only(supplies: Sequence[Supply]) -> Supply:
    with_doses = [supply for supply in supplies if supply.total > supply.sent]
    if len(with_doses) != 1:
        raise Conflict(
            "The doses of this offer lie in several lots, or none is left; say it of one lot, or of what is"
            " still to be collected."
        )
    return with_doses[0]
