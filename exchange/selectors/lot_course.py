"""What a lot went through as the science takes it: its stays, and laid over them what is known better."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

import numpy as np

from exchange.models import Incident, Lot, Stay, Store, TemperatureUpload
from exchange.models.offer import Treatment
from exchange.science import constants
from exchange.science.lot_course import (
    Course,
    Spell,
    course_coldest_c,
    course_hours_above,
    laid_over,
    steady_spell,
    until,
)
from exchange.science.parcel import parcel_temperature_c
from exchange.selectors.lot_record import History, LotRecord
from exchange.selectors.lot_time import hours_since_cut
from exchange.selectors.packing import packing_of
from exchange.selectors.temperature_spell import gap_c, logger_spells

STORE_C = {
    Store.Kind.REFRIGERATOR: constants.STORE_TEMPERATURE_C,
    Store.Kind.FREEZER: constants.FREEZER_TEMPERATURE_C,
    Store.Kind.FROST_FREE_FREEZER: constants.FREEZER_TEMPERATURE_C,
    Store.Kind.CHEST_FREEZER: constants.FREEZER_TEMPERATURE_C,
    Store.Kind.COLDER: constants.COLDER_TEMPERATURE_C,
}
FELT_C = {
    TemperatureUpload.Felt.COLD: constants.FELT_COLD_C,
    TemperatureUpload.Felt.COOL: constants.FELT_COOL_C,
    TemperatureUpload.Felt.WARM: constants.FELT_WARM_C,
}
PARCEL_READINGS = 97
"""A planned parcel is taken at so many instants, linear between them (judgement)."""


def store_temperature_c(store: Store) -> float:
    """How cold a store is: as its grower says, else as its kind usually is."""
    return STORE_C[Store.Kind(store.kind)].value if store.temperature_c is None else store.temperature_c


def course_of(record: LotRecord) -> Course:
    """The whole course from the cutting as far as it is known or planned."""
    ends = course_ends(record)
    course = _course(record.lot, record.shared, ends)
    if record.packet is None:
        return course
    filled = hours_since_cut(record.lot, record.packet.filled_at)
    return (*until(course, filled), *_own_part(_course(record.lot, record.own, ends), filled))


def course_ends(record: LotRecord) -> float:
    """Hours from the cutting to now, or to the end of the usual drying while a lot still dries."""
    now = hours_since_cut(record.lot, record.now)
    drying = record.lot.state == Lot.State.DRYING
    return max(now, constants.DRYING_HOURS.value) if drying else now


def ahead_c(record: LotRecord) -> float:
    """The temperature at which it goes on: of its store, or of a usual one if it is on the way."""
    if record.packet is None:
        return store_temperature_c(record.lot.store)
    store = record.packet.store
    return constants.STORE_TEMPERATURE_C.value if store is None else store_temperature_c(store)


def doubts_of(record: LotRecord, course: Course) -> list[str]:
    """Codes of what lies outside the curve, each once, in fixed order."""
    kinds = {incident.kind for part in _parts(record) for incident in part.incidents}
    frozen = record.lot.treatment == Treatment.FROZEN
    cold = not frozen and course_coldest_c(course) < constants.FREEZING_C.value
    hot = course_hours_above(course) > constants.HEAT_LIMIT_HOURS.value
    found = {
        "frozen_undried": cold and record.lot.treatment == Treatment.FRESH,
        "frozen_unplanned": cold and record.lot.treatment == Treatment.DRIED,
        "heat": hot,
        "thawed": frozen and bool(kinds & {Incident.Kind.THAWED, Incident.Kind.SWITCHED_OFF}),
        "wetted": Incident.Kind.GOT_DAMP in kinds,
        "in_fluid": record.lot.state == Lot.State.IN_FLUID,
    }
    return [code for code, holds in found.items() if holds]


def tested_after_freezing(record: LotRecord) -> bool:
    """Whether a germination test was counted after the lot went into a freezer."""
    frozen_since = [stay.since for part in _parts(record) for stay in part.stays if _freezes(stay)]
    tests = [assay.tested_at for part in _parts(record) for assay in part.assays if assay.method != "stain"]
    return bool(frozen_since) and any(tested > min(frozen_since) for tested in tests)


def _parts(record: LotRecord) -> Sequence[History]:
    return record.shared, record.own


def _freezes(stay: Stay) -> bool:
    return stay.store is not None and stay.store.freezes


def _course(lot: Lot, history: History, ends: float) -> Course:
    course: Course = tuple(_stay_spells(lot, history.stays, ends))
    for spell in _known_better(lot, history):
        course = laid_over(course, spell)
    return course


def _stay_spells(lot: Lot, stays: Iterable[Stay], ends: float) -> Iterator[Spell]:
    for stay in stays:
        first = _hours(lot, stay.since)
        last = ends if stay.until is None else min(_hours(lot, stay.until), ends)
        if not first < last:
            continue
        if stay.store is None:
            yield _parcel_spell(stay, first, last)
        else:
            yield steady_spell(first, last, store_temperature_c(stay.store), stay.store.kind)


def _parcel_spell(stay: Stay, first: float, last: float) -> Spell:
    hours = np.linspace(0.0, last - first, PARCEL_READINGS)
    temperature = parcel_temperature_c(packing_of(stay.packing, stay.box), stay.ambient_c or 0.0, hours)
    return Spell(first + hours, temperature, "parcel")


def _known_better(lot: Lot, history: History) -> Iterator[Spell]:
    """Drying, what was felt, incidents, loggers: what comes later counts more."""
    yield from _drying(lot)
    for felt in (row for row in history.temperatures if row.felt):
        first, last = _hours(lot, felt.began_at), _hours(lot, felt.ended_at)
        if first < last:
            yield steady_spell(first, last, FELT_C[felt.felt].value, "felt")  # type: ignore[index]
    for incident in history.incidents:
        first, last = _hours(lot, incident.began_at), _hours(lot, incident.ended_at)
        if incident.temperature_c is not None and first < last:
            yield steady_spell(first, last, incident.temperature_c, "incident")
    for upload in (row for row in history.temperatures if not row.felt):
        yield from logger_spells(lot, upload, gap_c(history.stays))


def _drying(lot: Lot) -> Iterator[Spell]:
    if lot.treatment == Treatment.FRESH:
        return
    usual = constants.DRYING_HOURS.value
    ends = usual if lot.dried_at is None else _hours(lot, lot.dried_at)
    if ends > 0.0:
        yield steady_spell(0.0, ends, constants.DRYING_TEMPERATURE_C.value, "drying")


def _own_part(course: Course, filled: float) -> Course:
    return tuple(spell for spell in course if spell.begins >= filled)


def _hours(lot: Lot, instant: datetime) -> float:
    return hours_since_cut(lot, instant)
