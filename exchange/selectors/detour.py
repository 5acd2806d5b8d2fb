"""Detours as each of the three reads them: regions before all have said yes, handles after."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID

from django.db.models import Q, QuerySet

from exchange.models import Agreement, Detour
from exchange.selectors.agreement import agreements_of
from exchange.selectors.block import hidden_from
from exchange.selectors.leg import ROUTED
from exchange.wording.detour import CAUTION
from growers.errors import NotFound
from growers.models import Grower
from growers.selectors.site import Region, region

Role = Literal["donor", "recipient", "steward"]


@dataclass(frozen=True, slots=True)
class DetourForViewer:
    """One detour for one of the three; the other two by region, and by handle once all have said yes."""

    public_id: UUID
    agreement_id: UUID
    gathering_id: UUID
    role: Role
    state: str
    plant: str
    doses: int
    donor: str | None
    recipient: str | None
    steward: str | None
    donor_region: Region
    recipient_region: Region
    steward_region: Region
    permit_number: str | None
    recipient_yes_at: datetime
    donor_yes_at: datetime | None
    steward_yes_at: datetime | None
    least_chance: float | None
    direct: Mapping[str, Any] | None
    by_way: Mapping[str, Any]
    handling_days: int
    reach_from: date
    reach_until: date
    post_on: date | None
    not_later_than: date | None
    arrival_half: date | None
    arrival_nine_tenths: date | None
    planned_on: date
    caution: str
    created_at: datetime
    changed_at: datetime
    ended_at: datetime | None


def detours_known(grower: Grower) -> QuerySet[Detour]:
    """Those of one's agreements, and as a steward those to which recipient and donor have said yes."""
    hidden = hidden_from(grower)
    asked = Q(gathering__steward=grower, donor_yes_at__isnull=False) & ~(
        Q(agreement__donor__in=hidden) | Q(agreement__recipient__in=hidden)
    )
    own = Q(agreement__in=agreements_of(grower).order_by().values("pk"))
    rows = Detour.objects.filter(own | asked).select_related(
        "agreement__donor",
        "agreement__recipient",
        "agreement__offer__plant__site",
        "agreement__wanted_cross__seed_parent__site",
        "gathering__steward",
        "gathering__site",
    )
    return rows.order_by("-pk")


def agreements_with_detours(grower: Grower) -> QuerySet[Agreement]:
    """Agreements whose detour a grower may read or ask for: own ones, and those that ask for a place."""
    own = Q(pk__in=agreements_of(grower).order_by().values("pk"))
    asked = Q(pk__in=detours_known(grower).order_by().values("agreement"))
    rows = Agreement.objects.filter(own | asked)
    return rows.select_related("donor", "recipient", "offer__plant__site", "wanted_cross__seed_parent__site")


def detour_of(viewer: Grower, agreement: Agreement) -> Detour:
    """The latest detour of an agreement that the viewer may know of; ``NotFound`` without one."""
    found = detours_known(viewer).filter(agreement=agreement).first()
    if found is None:
        raise NotFound("There is no detour of this agreement.")
    return found


def detour_for(viewer: Grower, row: Detour) -> DetourForViewer:
    """A loaded detour for its viewer; no query."""
    deal, gathering = row.agreement, row.gathering
    role = _role(viewer, row)
    agreed, is_steward = row.state in ROUTED, role == "steward"
    dates = row.plan.get("dates") or {}
    return DetourForViewer(
        public_id=row.public_id,
        agreement_id=deal.public_id,
        gathering_id=gathering.public_id,
        role=role,
        state=row.state,
        plant=deal.offer.plant.name_as_grown,
        doses=deal.doses,
        donor=deal.donor.handle if agreed or not is_steward else None,
        recipient=deal.recipient.handle if agreed or not is_steward else None,
        steward=gathering.steward.handle if agreed or is_steward else None,
        donor_region=region(deal.offer.plant.site),
        recipient_region=region(deal.wanted_cross.seed_parent.site),
        steward_region=region(gathering.site),
        permit_number=gathering.permit_number if is_steward or (agreed and role == "donor") else None,
        recipient_yes_at=row.recipient_yes_at,
        donor_yes_at=row.donor_yes_at,
        steward_yes_at=row.steward_yes_at,
        least_chance=row.least_chance,
        direct=row.told["direct"],
        by_way=row.told["by_way"],
        handling_days=gathering.handling_days,
        reach_from=gathering.reach_from,
        reach_until=gathering.reach_until,
        post_on=_day(dates, "post_on"),
        not_later_than=_day(dates, "not_later_than"),
        arrival_half=_day(dates, "arrival_half"),
        arrival_nine_tenths=_day(dates, "arrival_nine_tenths"),
        planned_on=row.planned_on,
        caution=str(CAUTION),
        created_at=row.created_at,
        changed_at=row.changed_at,
        ended_at=row.ended_at,
    )


def _role(viewer: Grower, row: Detour) -> Role:
    if viewer.pk == row.agreement.donor_id:
        return "donor"
    return "recipient" if viewer.pk == row.agreement.recipient_id else "steward"


def _day(dates: Mapping[str, Any], name: str) -> date | None:
    return date.fromisoformat(dates[name]) if dates.get(name) else None
