"""Small random pairs for the brute force, and the model cut down to what brute force can bear."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from exchange.matching import effect, posting
from exchange.matching.side import Bloom, Parent
from exchange.science import compatibility, constants, draws, live_effect, viability
from exchange.science.bloom import BloomWindow
from exchange.science.business_day import ServiceCalendar, country_calendar
from exchange.science.viability import Treatment
from tests.matching.instance import (
    EVERY_DAY,
    NORTH_C,
    SOUTH_C,
    WEEKDAYS,
    Instance,
    bloom,
    lane,
    lot,
    offer,
    parent,
    transit,
    wanted,
    window,
)

KINDS = (
    "plain",
    "year's end",
    "southern",
    "night",
    "date line",
    "one day",
    "closed week",
    "equal weeks",
    "refrigerator",
    "freezer",
)
SCENARIOS = 8
SMALL = {
    "DRAW_COUNT": 32,
    "RANGE_DRAW_COUNT": 32,
    "FROZEN_DRAW_COUNT": 32,
    "HORIZON_DAYS": 25,
    "SEASON_HORIZON_DAYS": 40,
}
TRAVEL_DAYS = 20


@contextmanager
def small_model() -> Iterator[None]:
    """Few draws, a near horizon and double precision, in the engine and in the brute force alike."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in SMALL.items():
            patch.setattr(constants, name, replace(getattr(constants, name), value=value))
        for module in (draws, compatibility):
            patch.setattr(module, "DRAW_COUNT", constants.DRAW_COUNT)
        patch.setattr(posting, "TRAVEL_MARGIN_DAYS", TRAVEL_DAYS)
        patch.setattr(effect, "PRECISION", np.float64)
        _forget()
        yield
    _forget()


def _forget() -> None:
    viability._prior_draws.cache_clear()
    live_effect.live_effect_rates.cache_clear()
    effect.dispatch_age_days.cache_clear()
    effect._parcel_age_days.cache_clear()
    effect._mean_rows.clear()
    effect._low_rows.clear()


def small_pair(index: int) -> Instance:
    """Pair number ``index``; its kind is ``KINDS[index % 10]``."""
    rng = np.random.default_rng([7, index])
    kind = KINDS[index % len(KINDS)]
    today = _today(kind, rng)
    treatment: Treatment = "frozen" if kind == "freezer" else "fresh" if rng.random() < 0.4 else "dried"
    donor, seed = _parents(kind, rng)
    in_hand = kind in ("refrigerator", "freezer")
    origin, destination = _calendars(kind, today, rng)
    shares = rng.dirichlet(np.full(int(rng.integers(1, 7)), 0.7)) * 0.97
    return Instance(
        offer=offer(
            parent=donor,
            treatment=treatment,
            bloom=None if in_hand else _bloom(kind, rng, today, index),
            lot=lot(int(rng.integers(0, 20)), treatment) if in_hand else None,
        ),
        wanted=wanted(parent=seed, bloom=_bloom(kind, rng, today, 500 + index)),
        lane=lane(
            origin=origin,
            destination=destination,
            transit=transit(*shares, lost=1.0 - float(shares.sum())),
            ambient_c=SOUTH_C if kind == "southern" else NORTH_C + float(rng.uniform(-10.0, 12.0)),
            customs_delay_days=int(rng.integers(0, 3)),
            collected_before_cut_off=bool(rng.random() < 0.6),
            delivery_before_opening=bool(rng.random() < 0.4),
        ),
        today=today,
    )


def _today(kind: str, rng: np.random.Generator) -> date:
    month, day = (12, 18) if kind in ("year's end", "southern") else (int(rng.integers(3, 10)), 1)
    return date(2026, month, day) + timedelta(days=int(rng.integers(0, 7)))


def _parents(kind: str, rng: np.random.Generator) -> tuple[Parent, Parent]:
    first, last = ((2, 3), (2, 2), (1, 2), (0, 1), (1, 1))[int(rng.integers(5))]
    diel = "night" if kind == "night" else "day"
    donor = parent("donor", diel="day", pollen_first_day=first, pollen_last_day=last)
    if kind == "night" and rng.random() < 0.5:
        donor = replace(donor, diel="night", pollen_first_day=2, pollen_last_day=3)
    return donor, parent("seed", diel=diel)


def _bloom(kind: str, rng: np.random.Generator, today: date, seed: int) -> Bloom:
    return bloom(_window(kind, rng, today), seed=seed, count=SCENARIOS)


def _window(kind: str, rng: np.random.Generator, today: date) -> BloomWindow:
    plain = window(0.0, 365.0, origin=today, rate_exposure_days=float(rng.uniform(2.0, 8.0)))
    if kind == "equal weeks":
        return replace(plain, start_sd=0.0, end_sd=0.0, all_year=True)
    start = float(rng.uniform(-8.0, 18.0))
    if kind == "one day" and rng.random() < 0.7:
        return replace(plain, start_mean=start, start_sd=0.0, end_mean=start + 1.0, end_sd=0.0)
    return replace(
        plain,
        start_mean=start,
        start_sd=float(rng.uniform(0.5, 8.0)),
        end_mean=start + float(rng.uniform(4.0, 30.0)),
        end_sd=float(rng.uniform(0.5, 8.0)),
        flowering_chance=float(rng.choice([1.0, 0.7])),
        weak_months=frozenset({today.month}) if rng.random() < 0.3 else frozenset(),
    )


def _calendars(kind: str, today: date, rng: np.random.Generator) -> tuple[ServiceCalendar, ServiceCalendar]:
    until = today + timedelta(days=120)
    if kind == "date line":
        auckland = country_calendar("NZ", today, until, subdivision="AUK")
        honolulu = country_calendar("US", today, until, subdivision="HI")
        return (auckland, honolulu) if rng.random() < 0.5 else (honolulu, auckland)
    if kind == "year's end":
        return country_calendar("DE", today, until), country_calendar("US", today, until)
    if kind == "closed week":
        shut = int(rng.integers(0, 12))
        closed = frozenset(today + timedelta(days=shut + day) for day in range(5))
        return ServiceCalendar(closed_days=closed), WEEKDAYS
    if kind == "equal weeks":
        return EVERY_DAY, EVERY_DAY
    return (WEEKDAYS, EVERY_DAY)[int(rng.integers(2))], WEEKDAYS
