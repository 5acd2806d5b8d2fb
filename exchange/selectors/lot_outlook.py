"""How alive a lot is and until when it is worth a flower, from its history and its tests."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, cast

import numpy as np

from exchange.models import Assay, Lot, TemperatureUpload
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.assay import AssayUpdate, GerminationAssay, StainCount, update_by_assays
from exchange.science.live_effect import live_effect_rates
from exchange.science.lot_course import Course, ages_at
from exchange.science.lot_dates import LotDates, Outlook, lot_dates
from exchange.science.version import model_version
from exchange.science.viability import Treatment, viability
from exchange.science.weighted import weighted_quantile, weighted_quantiles
from exchange.selectors.lot_course import ahead_c, course_ends, course_of, doubts_of, tested_after_freezing
from exchange.selectors.lot_record import LotRecord
from exchange.selectors.lot_time import hour_of, hours_since_cut

WIDE_GROUPS = frozenset({"brachyceras", "lotos", "hydrocallis"})
"""Tropical groups outside Anecphya, whose pollen may germinate at any rate."""

Way = tuple[str, str, str]


@dataclass(frozen=True)
class Dates:
    """The dates of a lot as instants; None beyond twenty years, or where the curve says nothing."""

    best_before: datetime | None
    best_before_median: datetime | None
    worth_trying_until: datetime | None


@dataclass(frozen=True)
class LotState:
    """A record reckoned: course, tests folded in, dates, doubts."""

    record: LotRecord
    course: Course
    update: AssayUpdate
    counted: tuple[Assay, ...]
    outlook: Outlook
    dates: Dates
    doubts: list[str]

    @property
    def now_hours(self) -> float:
        """Hours from the cutting to the instant of the record."""
        return hours_since_cut(self.record.lot, self.record.now)

    @property
    def thermal_age_days(self) -> float:
        """Median equivalent days at 4 °C so far."""
        ages = self.outlook.ages(self.update.draws, np.array([self.now_hours]))[:, 0]
        return float(weighted_quantile(ages, self.update.draws.weight, 0.5))

    @property
    def basis(self) -> Mapping[str, Any]:
        """What the dates rest on."""
        sources = sorted({spell.source for spell in self.course})
        return {
            "tests": len(self.counted),
            "tests_of_another_way": len(tests_of(self.record)) - len(self.counted),
            "temperatures": sources,
            "prior": "wide" if is_wide(self.record.lot) else "low",
            "treatment": self.record.lot.treatment,
            "draws_worth": round(self.update.effective_sample),
        }


def lot_state(record: LotRecord, *, assays: Sequence[Assay] | None = None) -> LotState:
    """Reckon a record; with ``assays``, as if only these had been made."""
    course = course_of(record)
    credit = tested_after_freezing(record)
    tests = tests_of(record) if assays is None else assays
    counted = of_one_way(tests)
    update = _update(record, course, counted, credit)
    outlook = Outlook(course, course_ends(record), ahead_c(record), credit)
    found = lot_dates(outlook, update.draws, live_effect_rates())
    doubts = doubts_of(record, course)
    return LotState(record, course, update, counted, outlook, _dates(record.lot, found, doubts), doubts)


def states_by_test(state: LotState) -> list[tuple[Assay, LotState]]:
    """The lot as it stood after each test that counts, the first first: what each of them changed."""
    counted = state.counted
    return [
        (assay, lot_state(state.record, assays=counted[: place + 1])) for place, assay in enumerate(counted)
    ]


def untested(state: LotState) -> LotState:
    """The lot as other plants would have it."""
    return lot_state(state.record, assays=())


def tests_of(record: LotRecord) -> list[Assay]:
    """All tests of the lot and of this packet, in order of time."""
    return sorted(
        [*record.shared.assays, *record.own.assays], key=lambda assay: (assay.tested_at, assay.pk or 0)
    )


def of_one_way(tests: Sequence[Assay]) -> tuple[Assay, ...]:
    """Stains, and the germination tests of the way with the most grains; ways are never pooled."""
    ways: dict[Way, int] = {}
    for assay in tests:
        if assay.method != Assay.Method.STAIN:
            way = _way(assay)
            ways[way] = ways.get(way, 0) + sum(counted for _, counted in assay.replicates)
    chosen = max(ways, key=lambda way: (ways[way], way), default=None)
    return tuple(assay for assay in tests if assay.method == Assay.Method.STAIN or _way(assay) == chosen)


def is_wide(lot: Lot) -> bool:
    """Whether any initial viability is as likely, as for tropical groups outside Anecphya."""
    return lot.plant.group in WIDE_GROUPS


def age_at(record: LotRecord, course: Course, instant: datetime, credit: bool) -> FloatArray:
    """Thermal age of each draw at an instant of a course."""
    hours = np.array([hours_since_cut(record.lot, instant)])
    return ages_at(course, hours, credit_below_freezing=credit)[:, 0]


def _way(assay: Assay) -> Way:
    return assay.method, assay.medium.casefold(), assay.rule.casefold()


def _update(record: LotRecord, course: Course, counted: Sequence[Assay], credit: bool) -> AssayUpdate:
    germination, stains = [], []
    for assay in counted:
        age = age_at(record, course, assay.tested_at, credit)
        pairs = [tuple(pair) for pair in assay.replicates]
        if assay.method == Assay.Method.STAIN:
            stained, seen = (sum(column) for column in zip(*pairs, strict=True))
            stains.append(StainCount(age, stained, seen))
        else:
            grown, seen_each = zip(*pairs, strict=True)
            germination.append(GerminationAssay(age, grown, seen_each, *_way(assay)))
    treatment = cast(Treatment, record.lot.treatment)
    return update_by_assays(treatment, germination, stains, wide_initial=is_wide(record.lot))


def _dates(lot: Lot, found: LotDates, doubts: Sequence[str]) -> Dates:
    if "in_fluid" in doubts:
        return Dates(None, None, None)
    hours = found.best_before, found.best_before_median, found.worth_trying_until
    return Dates(*(hour_of(lot, each) if np.isfinite(each) else None for each in hours))


def viability_band(state: LotState, hours: FloatArray) -> FloatArray:
    """The 10 %, 50 % and 90 % quantiles of the germinating share at instants; array (3, k)."""
    draws = state.update.draws
    alive = viability(draws, state.outlook.ages(draws, hours))
    quantiles = (constants.LOW_QUANTILE.value, 0.5, 1.0 - constants.LOW_QUANTILE.value)
    return weighted_quantiles(alive, draws.weight, quantiles)


def version() -> str:
    """The version of the model that reckoned."""
    return model_version()


def with_assay(state: LotState, assay: Assay) -> LotState:
    """The lot as it would stand with one test more."""
    record, history = state.record, state.record.shared
    if assay.packet_id is None:
        record = replace(record, shared=replace(history, assays=[*history.assays, assay]))
    else:
        record = replace(record, own=replace(record.own, assays=[*record.own.assays, assay]))
    return lot_state(record)


def with_upload(state: LotState, upload: TemperatureUpload) -> LotState:
    """The lot as it would stand with one logger or one word for how it felt more."""
    record, packet = state.record, upload.packet_id is not None
    history = record.own if packet else record.shared
    rows = sorted([*history.temperatures, upload], key=lambda row: row.began_at)
    history = replace(history, temperatures=rows)
    return lot_state(replace(record, own=history) if packet else replace(record, shared=history))
