"""Offers as their own grower reads them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.utils.translation import get_language

from exchange.models import Lot, Offer, Reservation, Supply
from exchange.selectors.packing import Box, box_shown
from exchange.wording.term import terms_worded
from growers import clock
from growers.models import Grower


@dataclass(frozen=True, slots=True)
class SupplyCount:
    """Where the doses of an offer are, in all its lots and in what is still to be collected."""

    total: int
    kept_back: int
    reserved: int
    sent: int

    @property
    def left(self) -> int:
        """Doses that are nobody's."""
        return self.total - self.kept_back - self.reserved - self.sent


@dataclass(frozen=True)
class OfferForOwner:
    """An offer with its terms in words and its doses counted; all else is the row's."""

    row: Offer
    terms: tuple[Mapping[str, Any], ...]
    supply: SupplyCount
    box: Box

    def __getattr__(self, name: str) -> Any:
        return getattr(self.row, name)


def offers_of(grower: Grower) -> QuerySet[Offer]:
    """A grower's own offers with plant, lots and what became of their doses; a fixed number of queries."""
    lots = Prefetch("lots", Lot.objects.select_related("store").order_by("pk"))
    rows = Offer.objects.filter(plant__grower=grower).select_related("plant", "carrier_service", "supply")
    return rows.prefetch_related("supply__reservations", lots, "lots__supply__reservations")


def offers_for(offers: Iterable[Offer]) -> list[OfferForOwner]:
    """Loaded offers for their owner."""
    language = get_language() or "en"
    return [
        OfferForOwner(
            row,
            tuple(terms_worded(row.terms, language)),
            supply_count(row),
            box_shown(row.packing, row.box),
        )
        for row in offers
    ]


def supply_count(offer: Offer) -> SupplyCount:
    """The doses of a loaded offer; what is reserved past its time counts as left."""
    return _count(_supplies(offer))


def supply_of_lot(lot: Lot) -> SupplyCount:
    """The doses of one loaded lot, likewise."""
    return _count([lot.supply])


def _count(supplies: Sequence[Supply]) -> SupplyCount:
    return SupplyCount(
        total=sum(supply.total for supply in supplies),
        kept_back=sum(supply.kept_back for supply in supplies),
        reserved=sum(_reserved(supply) for supply in supplies),
        sent=sum(supply.sent for supply in supplies),
    )


def _supplies(offer: Offer) -> list[Supply]:
    own = [offer.supply] if hasattr(offer, "supply") else []
    return [*own, *(lot.supply for lot in offer.lots.all())]


def _reserved(supply: Supply) -> int:
    now = clock.now()
    rows = supply.reservations.all()
    return sum(
        row.doses for row in rows if row.state == Reservation.State.ACTIVE and row.reserved_until > now
    )
