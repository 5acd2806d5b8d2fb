"""What every deed on a lot shares: the locked row, an instant that can be, a note that fits, the sequel."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from exchange.models import CustodyEvent, Lot, Packet
from exchange.services.custody import custody_note, note_check, occurred_check
from exchange.services.deal import announce
from exchange.services.lot import own_lot
from exchange.services.outlook import outlook_renew, outlooks_renew_later
from growers import clock
from growers.errors import Conflict
from growers.models import Grower
from growers.services.problem import Problems

OVER = (Lot.State.USED_UP, Lot.State.DISCARDED)


@dataclass
class Deed:
    """One deed: the lot, locked; who does it, when it is told and when it is said to have happened."""

    lot: Lot
    actor: Grower
    now: datetime
    at: datetime
    note: str
    problems: Problems

    def noted(
        self, kind: CustodyEvent.Kind, *, packet: Packet | None = None, **parameters: Any
    ) -> CustodyEvent:
        """Note the deed in the lot's history."""
        return custody_note(
            self.lot,
            kind,
            actor=self.actor,
            now=self.now,
            occurred_at=self.at,
            packet=packet,
            note=self.note,
            **parameters,
        )


@contextmanager
def deed_on(
    lot: Lot, *, actor: Grower, occurred_at: datetime | None = None, note: str = ""
) -> Iterator[Deed]:
    """Do something with one's own lot in a transaction; afterwards its dates are reckoned anew.

    Raises ``NotFound`` for others, ``Conflict`` for a lot that is over, ``InvalidInput`` for an instant that
    cannot be.
    """
    with transaction.atomic():
        own = own_lot(actor, lot)
        now = clock.now()
        deed = Deed(own, actor, now, occurred_at or now, note, Problems())
        occurred_check(own, deed.at, now, deed.problems)
        note_check(note, deed.problems)
        deed.problems.refuse_if_any()
        if own.state in OVER:
            raise Conflict(f"The lot is {own.get_state_display().lower()}; that is its end.")
        yield deed
        own.changed_at = now
        own.save()
        outlooks_renew_later([own], now)
        if own.offer is not None:
            announce(own.offer)
    outlook_renew(own)
