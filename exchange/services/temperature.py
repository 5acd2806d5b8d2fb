"""A logger's file becomes part of a lot's history: shown first, stored once its grower has confirmed it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from exchange.models import Lot, Packet, TemperatureUpload
from exchange.science.logger_choice import LoggerChoices
from exchange.science.logger_layout import NO_CHOICES
from exchange.science.logger_zone import fixed_offset_seconds
from exchange.selectors.lot_outlook import Dates, LotState, lot_state, with_upload
from exchange.selectors.lot_record import lot_record
from exchange.selectors.temperature import upload_summary
from exchange.services.outlook import outlook_renew
from exchange.services.photo import photo_drawn_anew
from exchange.services.temperature_file import THROUGHOUT, LoggerFile, WithPollen, file_confirmed, file_read
from exchange.services.temperature_subject import OfWhat, of_what, temperature_noted
from growers.errors import Conflict
from growers.models import Grower

READ_ONCE = "This file was read already; its readings count."
TOLD = ("minimum_c", "maximum_c", "hours_above_8_c", "mean_kinetic_c", "thermal_age_days")


@dataclass(frozen=True)
class ReadingTold:
    """One reading: when, on the clock of ``zone`` too, and where it stands in the file."""

    at: datetime
    local: str
    zone: str
    temperature_c: float
    row: int


@dataclass(frozen=True)
class TemperaturePreview:
    """What a file would do; readings, summary and dates are None while something is open or wrong."""

    file: LoggerFile
    first: ReadingTold | None = None
    last: ReadingTold | None = None
    summary: Mapping[str, Any] | None = None
    before: Dates | None = None
    after: Dates | None = None
    new_doubts: tuple[str, ...] = ()


def temperature_preview(
    *,
    actor: Grower,
    lot: Lot,
    content: bytes,
    packet: Packet | None = None,
    choices: LoggerChoices = NO_CHOICES,
    beside: WithPollen = THROUGHOUT,
) -> TemperaturePreview:
    """Say how a file would be read and what it would change; nothing is stored.

    Raises ``NotFound`` for others, ``InvalidInput`` for a file that cannot be read at all.
    """
    what = of_what(actor, lot, packet)
    file = file_read(content, choices, what, beside)
    first, last = (_reading(file, what.lot, place) for place in (0, -1))
    if file.upload is None:
        return TemperaturePreview(file, first, last)
    before, after = _states(what, file.upload)
    doubts = tuple(code for code in after.doubts if code not in before.doubts)
    summary = upload_summary(after, file.upload)
    return TemperaturePreview(file, first, last, summary, before.dates, after.dates, doubts)


def temperature_apply(
    *,
    actor: Grower,
    lot: Lot,
    content: bytes,
    choices: LoggerChoices,
    packet: Packet | None = None,
    beside: WithPollen = THROUGHOUT,
    photo: bytes | None = None,
) -> TemperatureUpload:
    """Store a file's readings, read just as confirmed; the lot's grower and partners are told, each once.

    Raises ``NotFound`` for others, ``Conflict`` for a file that was read already, ``InvalidInput`` for a
    choice that is not confirmed and for a file with faults, each with its row and column.
    """
    what = of_what(actor, lot, packet)
    file = file_confirmed(content, choices, what, beside)
    upload = file.upload
    if upload is None or _was_read(upload):
        raise Conflict(READ_ONCE)
    upload.photo = None if photo is None else photo_drawn_anew(photo)
    before, after = _states(what, upload)
    upload.summary = {**upload_summary(after, upload), "findings_count": file.findings_count}
    try:
        with transaction.atomic():
            upload.save()
            told = {name: upload.summary[name] for name in TOLD}
            temperature_noted(what, upload, before, after, summary=told)
    except IntegrityError as error:
        if _was_read(upload):
            raise Conflict(READ_ONCE) from error
        raise
    outlook_renew(what.lot)
    return upload


def _states(what: OfWhat, upload: TemperatureUpload) -> tuple[LotState, LotState]:
    before = lot_state(lot_record(what.lot, what.now, what.packet))
    return before, with_upload(before, upload)


def _was_read(upload: TemperatureUpload) -> bool:
    rows = TemperatureUpload.objects.filter(file_digest=upload.file_digest, packet=upload.packet)
    return rows.filter(lot=upload.lot).exists()


def _reading(file: LoggerFile, lot: Lot, place: int) -> ReadingTold | None:
    readings = file.readings
    if readings is None or not len(readings.epoch_seconds):
        return None
    at = datetime.fromtimestamp(float(readings.epoch_seconds[place]), UTC)
    name, zone = _zone(file.layout.zone.value or "", lot)
    local = at.astimezone(zone).isoformat()
    return ReadingTold(
        at, local, name, round(float(readings.temperature_c[place]), 3), int(readings.row[place])
    )


def _zone(name: str, lot: Lot) -> tuple[str, tzinfo]:
    """The zone of the file; of the lot's place where each cell has its own offset."""
    fixed = fixed_offset_seconds(name)
    if fixed is not None:
        return name, timezone(timedelta(seconds=fixed))
    named = lot.plant.site.cell_zone if name == "cells" else name
    return named, ZoneInfo(named)
