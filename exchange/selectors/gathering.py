"""Gatherings as their steward reads them, those who could join them, and those whose packet goes by them."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from exchange.models import Agreement, Block, Detour, Gathering, Reservation
from exchange.selectors.block import hidden_from
from exchange.selectors.leg import ROUTED
from exchange.wording.detour import CAUTION
from growers import clock
from growers.models import Grower
from growers.selectors.site import Region, region

PLACES = (Detour.State.ASKED, Detour.State.AGREED, Detour.State.DONE)


@dataclass(frozen=True, slots=True)
class GatheringForViewer:
    """One gathering; the permit's number is None for all but the steward and donors who send by way of it."""

    public_id: UUID
    role: Literal["steward", "grower"]
    state: str
    country: str
    region: Region
    site_id: UUID | None
    reach_from: date
    reach_until: date
    handling_days: int
    permit_number: str | None
    permit_valid_until: date
    note: str
    caution: str
    created_at: datetime
    changed_at: datetime


def gatherings_known(grower: Grower) -> QuerySet[Gathering]:
    """One's own, open ones that one has an agreement for, and those in which one has a place or had."""
    mine = Q(steward=grower)
    sides = Q(agreement__donor=grower) | Q(agreement__recipient=grower)
    of_ones_own = Q(pk__in=Detour.objects.filter(sides).values("gathering"))
    others = (of_ones_own | _joinable(grower)) & ~Q(steward__in=hidden_from(grower))
    known = Gathering.objects.filter(mine | others)
    may_read = Detour.objects.filter(gathering=OuterRef("pk"), state__in=ROUTED, agreement__donor=grower)
    return known.annotate(sends_by_it=Exists(may_read)).select_related("steward", "site")


def gatherings_joinable(grower: Grower) -> QuerySet[Gathering]:
    """Open ones that one could ask for a place in now."""
    return gatherings_known(grower).filter(_joinable(grower)).exclude(steward=grower)


def _joinable(grower: Grower) -> Q:
    is_open = Q(state=Gathering.State.OPEN, reach_until__gte=clock.now().date())
    return is_open & Q(Exists(_could_join(grower)))


def _could_join(grower: Grower) -> QuerySet[Agreement]:
    """The grower's agreements about pollen from abroad for the gathering's country, nothing of it sent."""
    used = Reservation.objects.filter(agreement=OuterRef("pk"), state=Reservation.State.USED)
    place = Detour.objects.filter(agreement=OuterRef("pk"), state__in=PLACES)
    rows = Agreement.objects.filter(
        ~Exists(used),
        ~Exists(place),
        recipient=grower,
        state=Agreement.State.AGREED,
        wanted_cross__seed_parent__site__cell_country=OuterRef("country"),
    )
    abroad = rows.exclude(offer__plant__site__cell_country=F("wanted_cross__seed_parent__site__cell_country"))
    steward, donor = OuterRef(OuterRef("steward")), OuterRef("donor")
    apart = Q(grower=donor, blocked=steward) | Q(grower=steward, blocked=donor)
    return abroad.exclude(Exists(Block.objects.filter(apart)))


def gathering_for(viewer: Grower, row: Gathering) -> GatheringForViewer:
    """A loaded gathering for its viewer; no query."""
    own = row.steward_id == viewer.pk
    reads_permit = own or row.sends_by_it  # type: ignore[attr-defined]
    return GatheringForViewer(
        public_id=row.public_id,
        role="steward" if own else "grower",
        state=row.state,
        country=row.country,
        region=region(row.site),
        site_id=row.site.public_id if own else None,
        reach_from=row.reach_from,
        reach_until=row.reach_until,
        handling_days=row.handling_days,
        permit_number=row.permit_number if reads_permit else None,
        permit_valid_until=row.permit_valid_until,
        note=row.note,
        caution=str(CAUTION),
        created_at=row.created_at,
        changed_at=row.changed_at,
    )
