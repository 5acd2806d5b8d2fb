"""Temperatures that were read or felt, as whoever may see their lot may read them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import ExpressionWrapper, Q, QuerySet
from django.db.models.fields import BooleanField

from exchange.models import Lot, TemperatureUpload
from exchange.science.logger_history import worst_history
from exchange.science.logger_summary import logger_summary
from exchange.science.weighted import weighted_quantile
from exchange.selectors.lot import lots_known
from exchange.selectors.lot_outlook import LotState
from exchange.selectors.lot_time import hours_since_cut
from exchange.selectors.temperature_spell import counted_readings, gap_c
from growers.models import Grower


@dataclass(frozen=True, slots=True)
class TemperatureForViewer:
    """One upload without its readings; summary and confirmed are None for one that was felt."""

    public_id: UUID
    packet_id: UUID | None
    felt: str | None
    began_at: datetime
    ended_at: datetime
    read_at: datetime
    summary: Mapping[str, Any] | None
    findings_count: int
    confirmed: Mapping[str, Any] | None
    has_photo: bool
    by_you: bool


def temperatures_of(viewer: Grower, lot: Lot) -> QuerySet[TemperatureUpload]:
    """Of a lot that the viewer may see: for its grower all, for a partner those of it and of own packets."""
    has_photo = ExpressionWrapper(Q(photo__isnull=False), output_field=BooleanField())
    rows = TemperatureUpload.objects.filter(lot=lot).defer("photo", "readings", "findings")
    return _seen(rows, viewer).select_related("packet").annotate(has_photo=has_photo)


def temperature_photos(viewer: Grower) -> QuerySet[TemperatureUpload]:
    """Uploads with a photo that the viewer may see."""
    rows = TemperatureUpload.objects.filter(photo__isnull=False, lot__in=lots_known(viewer).values("pk"))
    return _seen(rows, viewer).defer("readings")


def temperature_for(viewer: Grower, upload: TemperatureUpload) -> TemperatureForViewer:
    """A row of ``temperatures_of`` for its viewer; no query."""
    return TemperatureForViewer(
        public_id=upload.public_id,
        packet_id=upload.packet.public_id if upload.packet else None,
        felt=upload.felt or None,
        began_at=upload.began_at,
        ended_at=upload.ended_at,
        read_at=upload.created_at,
        summary=upload.summary or None,
        findings_count=upload.summary.get("findings_count", 0),
        confirmed=upload.confirmed or None,
        has_photo=upload.has_photo,  # type: ignore[attr-defined]
        by_you=upload.uploaded_by_id == viewer.pk,
    )


def upload_summary(state: LotState, upload: TemperatureUpload) -> Mapping[str, Any]:
    """The figures of an upload within the lot's state; marked gaps hold what the state assumes in them."""
    lot = state.record.lot
    seconds, temperature_c, interval = counted_readings(lot, upload)
    assumed_c = gap_c(state.record.own.stays if upload.packet else state.record.shared.stays)
    found = logger_summary(worst_history(seconds, temperature_c, assumed_c, interval_seconds=interval))
    ends = [hours_since_cut(lot, datetime.fromtimestamp(seconds[place], UTC)) for place in (0, -1)]
    ages = np.diff(state.outlook.ages(state.update.draws, np.array(ends)), axis=1)[:, 0]
    figures = {name: round(value, 2) for name, value in vars(found).items()}
    age = float(weighted_quantile(ages, state.update.draws.weight, 0.5))
    return {**figures, "thermal_age_days": round(age, 2)}


def _seen(rows: QuerySet[TemperatureUpload], viewer: Grower) -> QuerySet[TemperatureUpload]:
    own_packet = Q(packet__holder=viewer) | Q(packet__agreement__recipient=viewer)
    return rows.filter(Q(lot__plant__grower=viewer) | Q(packet=None) | own_packet)
