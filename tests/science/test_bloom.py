"""Facts and forecasts of bloom refuse what no plant and no calendar has."""

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from exchange.science.bloom import BloomFacts, BloomWindow, PlantSetting, SaidWindow, SeasonRecord

JUNE = date(2026, 6, 1)
MONTHS = np.full(12, 15.0)


def setting(**changes: object) -> PlantSetting:
    values = {
        "group": "hardy",
        "diel": "day",
        "latitude_deg": 49.0,
        "monthly_mean_c": MONTHS,
        "water": "outdoor",
    }
    return PlantSetting(**(values | changes))  # type: ignore[arg-type]


def window(**changes: object) -> BloomWindow:
    values = {
        "origin": JUNE,
        "start_mean": 0.0,
        "start_sd": 8.0,
        "end_mean": 90.0,
        "end_sd": 10.0,
        "rate_shape": 2.0,
        "rate_exposure_days": 8.0,
        "crowns": 1,
        "flowering_chance": 1.0,
        "basis": "records",
        "years": 2,
    }
    return BloomWindow(**(values | changes))  # type: ignore[arg-type]


def test_a_season_may_cross_new_year() -> None:
    assert SeasonRecord(date(2025, 11, 1), date(2026, 3, 1)).last == date(2026, 3, 1)


def test_a_grower_may_say_leap_day() -> None:
    assert SaidWindow((2, 29), (5, 1), 7.0).first_month_day == (2, 29)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: SeasonRecord(JUNE, date(2027, 6, 30)),
            r"last is 2027-06-30, 394 days after first; allowed: 0 to 366\.",
        ),
        (
            lambda: SeasonRecord(JUNE, date(2026, 5, 1)),
            r"last is 2026-05-01; allowed: on or after the first bloom 2026-06-01\.",
        ),
        (lambda: SeasonRecord(JUNE, None, -1), "first_interval_days is -1"),
        (lambda: SaidWindow((13, 1), (9, 1), 12.0), "first month is 13; allowed: 1 to 12"),
        (lambda: SaidWindow((6, 1), (9, 31), 12.0), "last day of month 9 is 31; allowed: 1 to 30"),
        (lambda: SaidWindow((6, 1), (9, 1), 0.0), "sd_days is 0; allowed: 1 to 60"),
        (lambda: BloomFacts(bud_seen=JUNE), "bud_stage and bud_seen belong together"),
        (lambda: BloomFacts(bud_seen=JUNE, bud_stage="big"), "bud_stage is 'big'"),  # type: ignore[arg-type]
        (lambda: BloomFacts(first_seen=JUNE, last_seen=date(2026, 5, 1)), "last is 2026-05-01"),
        (lambda: BloomFacts(flower_counts=((JUNE, -2),)), "flower count of 2026-06-01 is -2"),
        (lambda: BloomFacts(weak_months=frozenset({0})), "weak month is 0; allowed: 1 to 12"),
        (lambda: setting(group="iris"), "group is 'iris'; allowed: hardy"),
        (lambda: setting(latitude_deg=95.0), r"latitude_deg is 95; allowed: -90 to 90\."),
        (lambda: setting(crowns=0), "crowns is 0"),
        (lambda: setting(water="sea"), "water is 'sea'"),
        (lambda: setting(diel="dusk"), "diel is 'dusk'"),
        (lambda: setting(monthly_mean_c=MONTHS[:11]), "months in monthly_mean_c is 11"),
        (lambda: setting(monthly_mean_c=MONTHS + np.nan), "monthly_mean_c is nan"),
        (lambda: window(start_sd=-1.0), "start_sd is -1"),
        (lambda: window(end_mean=float("inf")), "end_mean is inf"),
        (lambda: window(rate_shape=0.0), "rate_shape is 0"),
        (lambda: window(flowering_chance=1.1), "flowering_chance is 1.1"),
        (lambda: window(crowns=0), "crowns is 0"),
        (lambda: window(basis="guess"), "basis is 'guess'"),
    ],
)
def test_bad_input_is_refused_by_name(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
