"""A lot's curve for a viewer: band, tests and what each changed, dates, doubts, what it rests on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Q, QuerySet

from exchange.models import Assay, CustodyEvent, Lot, Packet
from exchange.science.arrays import FloatArray
from exchange.science.constants import HOURS_PER_DAY, LOW_VIABILITY
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.viability import remaining_fraction
from exchange.science.weighted import weighted_mean, weighted_quantile
from exchange.selectors.lot import CustodyForViewer, DoubtTold, custody_for, custody_of, doubts_told
from exchange.selectors.lot_outlook import (
    Dates,
    LotState,
    lot_state,
    states_by_test,
    tests_of,
    untested,
    viability_band,
)
from exchange.selectors.lot_record import lot_record, lots_loaded
from exchange.selectors.lot_time import hours_since_cut, instant_of
from exchange.wording.lot import basis_sentence
from growers.models import Grower

POINTS = 25
LONGEST_CURVE_DAYS = 400.0
"""A curve is drawn no further ahead: at most that many days from now (judgement)."""

Band = Mapping[str, float]


@dataclass(frozen=True)
class CurvePoint:
    """One instant: the germinating share with its likely range, and what age leaves of a fresh packet."""

    at: datetime
    viability: Band
    live_effect: float


@dataclass(frozen=True)
class TestTold:
    """One test and what it changed: the share at cutting and the dates, before and after."""

    id: UUID
    packet: int | None
    tested_at: datetime
    method: str
    medium: str
    rule: str
    rehydrated: bool | None
    replicates: Sequence[Sequence[int]]
    counts_here: bool
    thermal_age_days: float
    viability_before: Band | None
    viability_after: Band | None
    before: Dates | None
    after: Dates | None


@dataclass(frozen=True)
class LotViability:
    """All that is reckoned of a lot or a packet at an instant."""

    lot_id: UUID
    code: str
    packet: int | None
    reckoned_at: datetime
    thermal_age_days: Band
    viability: Band
    live_effect: float
    dates: Dates
    doubts: tuple[DoubtTold, ...]
    curve: tuple[CurvePoint, ...]
    tests: tuple[TestTold, ...]
    events: tuple[CustodyForViewer, ...]
    basis: tuple[DoubtTold, ...]


def lot_viability(viewer: Grower, lot: Lot, now: datetime, packet: Packet | None = None) -> LotViability:
    """Reckon a lot, or one packet of it, as it stands now."""
    (loaded,) = lots_loaded([lot])
    state = lot_state(lot_record(loaded, now, packet))
    here = np.array([state.now_hours])
    return LotViability(
        lot_id=loaded.public_id,
        code=loaded.code,
        packet=packet.number if packet else None,
        reckoned_at=now,
        thermal_age_days=_age_band(state),
        viability=_bands(state, here)[0],
        live_effect=_effect(state, here)[0],
        dates=state.dates,
        doubts=doubts_told(state.doubts),
        curve=_curve(state),
        tests=_tests(state),
        events=tuple(custody_for(viewer, event) for event in _events(viewer, loaded, packet)),
        basis=_basis(state),
    )


def _events(viewer: Grower, lot: Lot, packet: Packet | None) -> QuerySet[CustodyEvent]:
    """What happened to the lot itself, and to the packet that is asked for."""
    rows = custody_of(viewer, lot).filter(Q(packet=None) | Q(packet=packet))
    return rows.order_by("occurred_at", "pk")


def _curve(state: LotState) -> tuple[CurvePoint, ...]:
    now, lot = state.now_hours, state.record.lot
    until = state.dates.worth_trying_until
    last = now if until is None else max(now, hours_since_cut(lot, until))
    last = min(max(last, now + HOURS_PER_DAY.value), now + LONGEST_CURVE_DAYS * HOURS_PER_DAY.value)
    hours = np.union1d(np.linspace(0.0, last, POINTS), [now])
    points = zip(hours, _bands(state, hours), _effect(state, hours), strict=True)
    return tuple(CurvePoint(instant_of(lot, float(at)), band, effect) for at, band, effect in points)


def _bands(state: LotState, hours: FloatArray) -> list[Band]:
    columns = np.round(viability_band(state, hours), 4).T.tolist()
    return [dict(zip(("low", "median", "high"), column, strict=True)) for column in columns]


def _effect(state: LotState, hours: FloatArray) -> list[float]:
    draws = state.update.draws
    left = remaining_fraction(draws, state.outlook.ages(draws, hours))
    effect = live_effect(left, live_effect_rates())
    return [round(float(weighted_mean(column, draws.weight)), 4) for column in effect.T]


def _age_band(state: LotState) -> Band:
    draws = state.update.draws
    ages = state.outlook.ages(draws, np.array([state.now_hours]))[:, 0]
    quantiles = {"low": 0.1, "median": 0.5, "high": 0.9}
    return {
        name: round(float(weighted_quantile(ages, draws.weight, each)), 2) for name, each in quantiles.items()
    }


def _tests(state: LotState) -> tuple[TestTold, ...]:
    after = dict(states_by_test(state))
    before, told = untested(state) if after else state, []
    for assay in tests_of(state.record):
        now = after.get(assay)
        told.append(_test(state, assay, before if now else None, now))
        before = now or before
    return tuple(told)


def _test(state: LotState, assay: Assay, before: LotState | None, after: LotState | None) -> TestTold:
    hours = np.array([hours_since_cut(state.record.lot, assay.tested_at)])
    draws = state.update.draws
    age = weighted_quantile(state.outlook.ages(draws, hours)[:, 0], draws.weight, 0.5)
    packet = state.record.packet
    return TestTold(
        id=assay.public_id,
        packet=packet.number if packet and assay.packet_id == packet.pk else None,
        tested_at=assay.tested_at,
        method=assay.method,
        medium=assay.medium,
        rule=assay.rule,
        rehydrated=assay.rehydrated,
        replicates=assay.replicates,
        counts_here=after is not None,
        thermal_age_days=round(float(age), 2),
        viability_before=_bands(before, hours)[0] if before else None,
        viability_after=_bands(after, hours)[0] if after else None,
        before=before.dates if before else None,
        after=after.dates if after else None,
    )


def _basis(state: LotState) -> tuple[DoubtTold, ...]:
    parameters: dict[str, Any] = dict(state.basis)
    sources = {spell.source for spell in state.course}
    now = np.array([state.now_hours])
    tested = bool(state.counted)
    found = {
        "prior_only": not tested,
        "tested": tested,
        "other_way": parameters["tests_of_another_way"] > 0,
        "life_not_sharpened": tested and not state.update.sharpens_life,
        "rough": tested and not state.update.sufficient,
        "low_viability": tested and _bands(state, now)[0]["median"] < LOW_VIABILITY.value,
        "assumed_gap": "logger_gap" in sources,
    }
    return tuple(
        DoubtTold(code, basis_sentence(code, parameters), parameters)
        for code, holds in found.items()
        if holds
    )
