"""Parcels of which nothing was heard: the consignee is asked when half have come, and when late ones have."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from django.db import transaction

from exchange.models import AgreementEvent, Shipment
from exchange.selectors.lane_seen import UNDER_WAY
from exchange.selectors.leg import ENDS_LOADED, ends_of
from exchange.services.agreement_event import event_tell_only
from exchange.services.due import due_set, register

KIND = "shipment_overdue"
EVENING = time(18)
"""When a consignee is asked, at their place (judgement)."""


def overdue_set(shipment: Shipment) -> None:
    """Ask on the first of the two days."""
    if shipment.half_on is not None:
        due_set(kind=KIND, subject_id=shipment.pk, due_at=_evening(shipment, shipment.half_on))


@register(KIND)
def overdue_due(subject_id: int, now: datetime) -> datetime | None:
    """Ask whether it has come, once for each of the two days; when to look again."""
    with transaction.atomic():
        rows = Shipment.objects.select_for_update(of=("self",)).select_related(*ENDS_LOADED)
        shipment = rows.get(pk=subject_id)
        if shipment.state not in UNDER_WAY or shipment.half_on is None or shipment.late_on is None:
            return None
        days = (day for day in (shipment.half_on, shipment.late_on) if _evening(shipment, day) <= now)
        _ask(shipment, max(days, default=None), now)
        late = _evening(shipment, shipment.late_on)
        return late if late > now else None


def _ask(shipment: Shipment, day: date | None, now: datetime) -> None:
    """Ask because a day has come, unless that was done; of two that passed together the later counts."""
    kind = AgreementEvent.Kind.HAS_IT_COME
    asked = shipment.agreement.events.filter(kind=kind, parameters__parcel=str(shipment.public_id))
    if day is not None and not asked.filter(parameters__day=day.isoformat()).exists():
        about = {"day": day.isoformat(), "parcel": str(shipment.public_id)}
        if shipment.leg == Shipment.Leg.TO_STEWARD:
            about["leg"] = str(shipment.leg)
        event_tell_only(shipment.agreement, kind, told=ends_of(shipment).taker, now=now, **about)


def _evening(shipment: Shipment, day: date) -> datetime:
    zone = ZoneInfo(ends_of(shipment).destination.cell_zone)
    return datetime.combine(day, EVENING, zone).astimezone(UTC)
