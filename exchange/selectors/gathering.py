"""Gatherings as their steward reads them, those who could join them, and those whose packet goes by them."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from exchange.models import Agreement, Detour, Gathering, Reservation
from exchange.selectors.block import hidden_from, hidden_from_each
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
    sides = Q(agreement__donor=grower) | Q(agreement__recipient=grower)
    of_ones_own = Q(pk__in=Detour.objects.filter(sides).values("gathering"))
    return _read_by(grower, Q(steward=grower) | (_met(grower) & (of_ones_own | _joinable(grower))))


def gatherings_joinable(grower: Grower) -> QuerySet[Gathering]:
    """Open ones that one could ask for a place in now."""
    return _read_by(grower, ~Q(steward=grower) & _met(grower) & _joinable(grower))


def _read_by(grower: Grower, these: Q) -> QuerySet[Gathering]:
    may_read = Detour.objects.filter(gathering=OuterRef("pk"), state__in=ROUTED, agreement__donor=grower)
    rows = Gathering.objects.filter(these).annotate(sends_by_it=Exists(may_read))
    return rows.select_related("steward", "site")


def _met(grower: Grower) -> Q:
    return ~Q(steward__in=hidden_from(grower))


def _joinable(grower: Grower) -> Q:
    """Open ones in the country of one of these agreements, whose steward its donor may meet.

    What hangs on the grower alone is read before: as a subquery for each gathering it took PostgreSQL
    minutes with a thousand of both.
    """
    donors = _donors_by_country(grower)
    apart = hidden_from_each({donor for each in donors.values() for donor in each})
    found = Q(pk__in=())
    for country, each in donors.items():
        from_all = frozenset.intersection(*(apart[donor] for donor in each))
        found |= Q(country=country) & ~Q(steward__in=from_all)
    return found & Q(state=Gathering.State.OPEN, reach_until__gte=clock.now().date())


def _donors_by_country(grower: Grower) -> dict[str, set[int]]:
    """Donors of the grower's agreements about pollen from abroad, nothing of it sent, by its destination."""
    used = Reservation.objects.filter(agreement=OuterRef("pk"), state=Reservation.State.USED)
    place = Detour.objects.filter(agreement=OuterRef("pk"), state__in=PLACES)
    rows = Agreement.objects.filter(
        ~Exists(used), ~Exists(place), recipient=grower, state=Agreement.State.AGREED
    )
    destination = F("wanted_cross__seed_parent__site__cell_country")
    abroad = rows.exclude(offer__plant__site__cell_country=destination)
    found: dict[str, set[int]] = {}
    for country, donor in abroad.values_list(destination, "donor").distinct():
        found.setdefault(country, set()).add(donor)
    return found


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
