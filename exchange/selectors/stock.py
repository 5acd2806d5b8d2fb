"""What of the open offers' doses is there, and for whom it is kept, as the matching counts it.

A reservation past its time is nobody's any more, swept or not.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q, QuerySet, Sum

from exchange.models import Lot, Reservation, Supply
from exchange.models.offer import OpenState

SENT_COUNTS_FOR = timedelta(days=120)
"""So long doses that were sent count as pollen that a wanted cross has: one season (judgement)."""


@dataclass(frozen=True)
class Part:
    """A lot, or what is still to be collected (then without one); ``kept_for`` by wanted cross."""

    lot: Lot | None
    offered: int
    sent: int
    kept_for: Mapping[int, int]

    @property
    def here(self) -> int:
        """Doses that are still with the donor, promised ones too; those kept back are not counted."""
        return self.offered - self.sent

    @property
    def left(self) -> int:
        """Doses that are nobody's."""
        return self.here - sum(self.kept_for.values())


@dataclass(frozen=True)
class Stock:
    """All parts of one offer, lots first, the oldest first."""

    parts: tuple[Part, ...] = ()

    @property
    def offered(self) -> int:
        """Doses that are given away in all, sent ones too."""
        return sum(part.offered for part in self.parts)

    @property
    def left(self) -> int:
        """Doses that are nobody's."""
        return sum(part.left for part in self.parts)

    @property
    def lots_kept(self) -> dict[int, Lot]:
        """The lots in which doses are kept, by wanted cross."""
        return {wanted: part.lot for part in self.parts if part.lot for wanted in part.kept_for}

    def lot_on(self, today: date) -> Lot | None:
        """The lot that others would be given: the oldest with a dose left, or at least one not yet sent.

        None while pollen is to be collected for them.
        """
        if any(part.lot is None and part.here > 0 for part in self.parts):
            return None
        found = [(part, part.lot) for part in self.parts if part.lot and part.lot.collected_on <= today]
        with_doses = [lot for part, lot in found if part.left > 0]
        not_yet_sent = [lot for part, lot in found if part.here > 0]
        return next(iter(with_doses + not_yet_sent), None)


def stocks(now: datetime) -> dict[int, Stock]:
    """The stock of every open offer by its key; two queries."""
    kept: dict[int, dict[int, int]] = {}
    for supply, wanted_cross, doses in _kept(now).values_list("supply", "agreement__wanted_cross", "doses"):
        kept.setdefault(supply, {})[wanted_cross] = doses
    is_open = Q(offer__state=OpenState.OPEN) | Q(lot__offer__state=OpenState.OPEN)
    found: dict[int, list[Part]] = {}
    for row in sorted(Supply.objects.filter(is_open).select_related("lot__store"), key=_age):
        part = Part(row.lot, row.total - row.kept_back, row.sent, kept.get(row.pk, {}))
        offer_id: int = row.lot.offer_id if row.lot else row.offer_id  # type: ignore[assignment]
        found.setdefault(offer_id, []).append(part)
    return {offer: Stock(tuple(parts)) for offer, parts in found.items()}


def doses_spoken_for(now: datetime) -> dict[tuple[str, str], int]:
    """Doses promised, and those sent this season, by the public ids of offer and wanted cross."""
    names = ("agreement__offer__public_id", "agreement__wanted_cross__public_id")
    rows = (_kept(now) | _sent(now)).values_list(*names).annotate(Sum("doses")).order_by(*names)
    return {(str(offer), str(wanted)): doses for offer, wanted, doses in rows}


def _kept(now: datetime) -> QuerySet[Reservation]:
    return Reservation.objects.filter(state=Reservation.State.ACTIVE, reserved_until__gt=now)


def _sent(now: datetime) -> QuerySet[Reservation]:
    return Reservation.objects.filter(state=Reservation.State.USED, changed_at__gt=now - SENT_COUNTS_FOR)


def _age(supply: Supply) -> tuple[bool, date, int]:
    lot = supply.lot
    return lot is None, lot.collected_on if lot else date.max, supply.lot_id or 0
