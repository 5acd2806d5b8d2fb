"""The forecast chain at a northern, a southern and a tropical site: better facts, narrower and with dates."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.science import constants
from exchange.science.bloom import (
    BUD_STAGES,
    BloomFacts,
    BloomWindow,
    BudStage,
    PlantSetting,
    SaidWindow,
    SeasonRecord,
)
from exchange.science.bloom_chain import forecast, why_no_forecast
from exchange.science.bloom_scenario import WindowInterval, bloom_scenarios, daily_rate, window_interval
from tests.published import Row, cases

GIVERNY = np.array([4.51, 5.23, 7.59, 10.41, 13.70, 17.33, 19.07, 18.82, 15.80, 12.30, 7.95, 5.25])
SYDNEY = np.array([22.42, 22.38, 21.36, 19.12, 16.33, 14.27, 13.58, 14.28, 16.35, 17.97, 19.49, 21.04])
BANGKOK = np.array([26.58, 28.09, 29.58, 30.77, 30.42, 30.01, 29.44, 29.43, 28.85, 28.49, 28.00, 26.71])

NORTH = PlantSetting("hardy", "day", 49.0, GIVERNY, "outdoor")
SOUTH = PlantSetting("hardy", "day", -34.0, SYDNEY, "outdoor")
TROPICS = PlantSetting("lotos", "night", 13.75, BANGKOK, "outdoor")
GLASS = PlantSetting("lotos", "night", 49.0, GIVERNY, "glass")

SAID_NORTH = SaidWindow((6, 1), (9, 10), 12.0)
SAID_SOUTH = SaidWindow((10, 15), (4, 10), 12.0)
SAID_TROPICS = SaidWindow((11, 1), (3, 10), 12.0)

SITES = [
    pytest.param(NORTH, SAID_NORTH, date(2026, 3, 1), date(2026, 5, 20), id="northern"),
    pytest.param(SOUTH, SAID_SOUTH, date(2026, 8, 1), date(2026, 10, 3), id="southern"),
    pytest.param(TROPICS, SAID_TROPICS, date(2026, 8, 1), date(2026, 10, 20), id="tropical"),
]


def window_of(facts: BloomFacts, setting: PlantSetting, today: date) -> BloomWindow:
    window = forecast(facts, setting, today)
    assert window is not None
    return window


def interval_of(window: BloomWindow) -> WindowInterval:
    interval = window_interval(window)
    assert interval is not None
    return interval


def possible_start_days(window: BloomWindow) -> int:
    """Days in the 10–90 % band of the first bloom; a whole year for a plant without season."""
    interval = window_interval(window)
    return 365 if interval is None else (interval.start_90 - interval.start_10).days


def possible_days(window: BloomWindow) -> int:
    """Days from the earliest start to the latest end of the bands."""
    interval = window_interval(window)
    return 365 if interval is None else (interval.end_90 - interval.start_10).days


def date_of(window: BloomWindow, days: float) -> date:
    return window.origin + timedelta(days=round(days))


# --- the chain narrows: acceptance at three sites ---


@pytest.mark.parametrize(("setting", "said", "today", "bud_seen"), SITES)
def test_said_is_narrower_than_climate_and_has_dates(
    setting: PlantSetting, said: SaidWindow, today: date, bud_seen: date
) -> None:
    climate, told = window_of(BloomFacts(), setting, today), window_of(BloomFacts(said=said), setting, today)
    assert (climate.basis, told.basis) == ("climate", "said")
    assert possible_start_days(told) < possible_start_days(climate)
    assert possible_days(told) < possible_days(climate)
    assert (date_of(told, told.start_mean).month, date_of(told, told.start_mean).day) == said.first_month_day
    assert (date_of(told, told.end_mean).month, date_of(told, told.end_mean).day) == said.last_month_day
    assert told.flowering_chance == 1.0 > climate.flowering_chance


@pytest.mark.parametrize("stage", BUD_STAGES)
@pytest.mark.parametrize("sd_days", [constants.SAID_MONTH_SD_DAYS.value, constants.SAID_DATE_SD_DAYS.value])
@pytest.mark.parametrize(("setting", "said", "today", "bud_seen"), SITES)
def test_a_bud_is_narrower_than_what_was_said(
    setting: PlantSetting, said: SaidWindow, today: date, bud_seen: date, sd_days: float, stage: BudStage
) -> None:
    facts = BloomFacts(said=replace(said, sd_days=sd_days))
    told = window_of(facts, setting, bud_seen)
    budded = window_of(replace(facts, bud_stage=stage, bud_seen=bud_seen), setting, bud_seen)
    assert budded.basis == "bud seen"
    assert possible_start_days(budded) < possible_start_days(told)
    assert interval_of(budded).start_10 > bud_seen
    assert interval_of(budded).end_50 == interval_of(told).end_50


@pytest.mark.parametrize(("setting", "said", "today", "bud_seen"), SITES)
def test_a_flower_is_narrower_than_a_bud(
    setting: PlantSetting, said: SaidWindow, today: date, bud_seen: date
) -> None:
    budded = BloomFacts(said=said, bud_stage="under water", bud_seen=bud_seen)
    first = bud_seen + timedelta(days=10)
    seen = window_of(replace(budded, first_seen=first), setting, first)
    assert seen.basis == "flower seen"
    assert possible_start_days(seen) < possible_start_days(window_of(budded, setting, first))
    assert date_of(seen, seen.start_mean) == first


def test_buds_further_on_open_sooner() -> None:
    starts = [
        window_of(
            BloomFacts(bud_stage=stage, bud_seen=date(2026, 5, 20)), NORTH, date(2026, 5, 20)
        ).start_mean
        for stage in BUD_STAGES
    ]
    assert starts == sorted(starts, reverse=True)


def test_every_better_basis_narrows_a_northern_plant() -> None:
    today = date(2026, 3, 1)
    similar = (SeasonRecord(date(2025, 6, 4), date(2025, 9, 12)), SeasonRecord(date(2024, 5, 28)))
    record = (SeasonRecord(date(2025, 6, 1), date(2025, 9, 8)),)
    chain = [
        window_of(BloomFacts(), replace(NORTH, monthly_mean_c=None), today),
        window_of(BloomFacts(), NORTH, today),
        window_of(BloomFacts(), replace(NORTH, similar=similar), today),
        window_of(BloomFacts(said=SAID_NORTH), replace(NORTH, similar=similar), today),
        window_of(BloomFacts(said=SAID_NORTH, records=record), NORTH, today),
    ]
    assert [window.basis for window in chain] == [
        "hemisphere",
        "climate",
        "similar plants",
        "said",
        "records",
    ]
    widths = [window.start_sd for window in chain]
    assert widths == sorted(widths, reverse=True)
    assert len(set(widths)) == 5


# --- which season ---


def test_next_season_is_forecast_once_this_one_has_passed() -> None:
    facts = BloomFacts(said=SAID_NORTH)
    assert window_of(facts, NORTH, date(2026, 9, 20)).origin == date(2026, 6, 1)
    assert window_of(facts, NORTH, date(2026, 10, 10)).origin == date(2027, 6, 1)


def test_southern_season_is_on_in_january_and_began_last_year() -> None:
    window = window_of(BloomFacts(said=SAID_SOUTH), SOUTH, date(2027, 1, 20))
    assert window.origin == date(2026, 10, 15)
    assert interval_of(window).end_50 == date(2027, 4, 10)


def test_said_dates_are_the_same_dates_in_leap_years() -> None:
    window = window_of(BloomFacts(said=SAID_NORTH), NORTH, date(2028, 1, 15))
    assert (window.origin, date_of(window, window.end_mean)) == (date(2028, 6, 1), date(2028, 9, 10))


def test_leap_day_inside_a_southern_season_does_not_move_its_end() -> None:
    window = window_of(BloomFacts(said=SAID_SOUTH), SOUTH, date(2027, 11, 1))
    assert date_of(window, window.end_mean) == date(2028, 4, 10)


@settings(deadline=None)
@given(st.dates(date(2024, 1, 1), date(2031, 12, 31)))
def test_forecast_is_never_of_a_season_long_past_and_never_skips_one(today: date) -> None:
    for setting, said in ((NORTH, SAID_NORTH), (SOUTH, SAID_SOUTH), (TROPICS, SAID_TROPICS)):
        interval = interval_of(window_of(BloomFacts(said=said), setting, today))
        assert interval.end_90 + timedelta(days=6) >= today
        assert (interval.start_50 - today).days < 365


# --- this season's facts ---


def seen_sd(inputs: dict[str, Any]) -> float:
    record = SeasonRecord(date(2026, 6, 8), None, inputs["interval_days"])
    return window_of(BloomFacts(records=(record,), said=SAID_NORTH), NORTH, date(2026, 6, 10)).start_sd


@pytest.mark.parametrize("row", cases("bloom", "seen_sd"))
def test_published_value(row: Row) -> None:
    row.check(seen_sd(row.inputs))


def test_not_yet_moves_every_start_later() -> None:
    today = date(2026, 6, 5)
    window = window_of(BloomFacts(said=SAID_NORTH, not_yet=today), NORTH, today)
    assert window.basis == "said"
    assert interval_of(window).start_10 > today
    assert (bloom_scenarios(window, seed=1).start_day > (today - window.origin).days).all()


def test_not_yet_makes_any_bloom_less_likely_where_it_was_in_doubt() -> None:
    chances = [
        window_of(BloomFacts(not_yet=day), NORTH, day).flowering_chance
        for day in (date(2026, 5, 1), date(2026, 6, 1), date(2026, 7, 1))
    ]
    assert 0.85 > chances[0] > chances[1] > chances[2] > 0.0


def test_not_yet_of_last_year_is_forgotten() -> None:
    facts = BloomFacts(said=SAID_NORTH, not_yet=date(2025, 6, 10))
    assert window_of(facts, NORTH, date(2026, 4, 1)).start_after is None


def test_not_yet_before_the_first_flower_bounds_it_from_below() -> None:
    facts = BloomFacts(said=SAID_NORTH, not_yet=date(2026, 6, 4), first_seen=date(2026, 6, 6))
    window = window_of(facts, NORTH, date(2026, 6, 6))
    starts = bloom_scenarios(window, seed=1).start_day
    assert ((starts > 3.0) & (starts <= 5.0)).all()


def test_a_flower_seen_outweighs_a_later_not_yet_and_bud() -> None:
    facts = BloomFacts(
        said=SAID_NORTH,
        first_seen=date(2026, 6, 6),
        not_yet=date(2026, 6, 8),
        bud_stage="under water",
        bud_seen=date(2026, 6, 9),
    )
    window = window_of(facts, NORTH, date(2026, 6, 10))
    assert (window.basis, window.start_after) == ("flower seen", None)
    assert window.start_mean == 5.0


def test_first_bloom_seen_is_certain_to_have_begun() -> None:
    first = date(2026, 5, 29)
    window = window_of(BloomFacts(said=SAID_NORTH, first_seen=first), NORTH, first)
    assert daily_rate(bloom_scenarios(window, seed=1), first, 1).all()
    assert interval_of(window).end_50 == date(2026, 9, 10)


def test_weekly_visits_put_the_first_bloom_between_them() -> None:
    record = SeasonRecord(date(2026, 6, 8), None, 7)
    window = window_of(BloomFacts(records=(record,), said=SAID_NORTH), NORTH, date(2026, 6, 10))
    assert (window.origin + timedelta(days=window.start_mean)) == date(2026, 6, 4)
    assert window.start_mean % 1.0 == 0.5


def test_a_season_s_own_record_does_not_forecast_its_own_end() -> None:
    past = SeasonRecord(date(2025, 6, 1), date(2025, 9, 1))
    window = window_of(BloomFacts(records=(past,), first_seen=date(2026, 6, 20)), GLASS, date(2026, 6, 25))
    assert (window.basis, window.years) == ("flower seen", 1)
    assert date_of(window, window.end_mean) == date(2026, 9, 1)


def test_last_bloom_replaces_the_end_and_then_the_next_season_counts_the_record() -> None:
    facts = BloomFacts(said=SAID_NORTH, first_seen=date(2026, 5, 29), last_seen=date(2026, 8, 20))
    over = window_of(facts, NORTH, date(2026, 8, 22))
    assert (date_of(over, over.end_mean), over.end_sd) == (date(2026, 8, 20), 1.0)
    following = window_of(facts, NORTH, date(2026, 9, 1))
    assert (following.basis, following.years, following.origin.year) == ("records", 1, 2027)
    assert interval_of(following).end_50 < date(2027, 9, 10)


def test_a_flower_after_the_last_bloom_reopens_the_season() -> None:
    facts = BloomFacts(
        said=SAID_NORTH,
        first_seen=date(2026, 5, 29),
        last_seen=date(2026, 8, 20),
        flower_counts=((date(2026, 8, 30), 1),),
    )
    window = window_of(facts, NORTH, date(2026, 8, 31))
    assert date_of(window, window.end_mean) == date(2026, 9, 10)
    assert window.end_after == (date(2026, 8, 30) - window.origin).days


def test_a_bud_after_the_last_bloom_reopens_the_season() -> None:
    facts = BloomFacts(
        said=SAID_NORTH,
        first_seen=date(2026, 5, 29),
        last_seen=date(2026, 9, 1),
        bud_stage="under water",
        bud_seen=date(2026, 9, 20),
    )
    window = window_of(facts, NORTH, date(2026, 9, 21))
    assert date_of(window, window.start_mean) == date(2026, 5, 29)
    assert date_of(window, window.end_mean) == date(2026, 10, 2)


def test_a_bud_of_the_next_season_leaves_the_last_one_over() -> None:
    facts = BloomFacts(
        said=SAID_NORTH,
        first_seen=date(2026, 5, 29),
        last_seen=date(2026, 9, 1),
        bud_stage="under water",
        bud_seen=date(2027, 5, 10),
    )
    window = window_of(facts, NORTH, date(2027, 5, 11))
    assert (window.basis, window.years) == ("bud seen", 1)
    assert date_of(window, window.start_mean) == date(2027, 5, 22)


def test_last_bloom_without_a_first_ends_the_season_too() -> None:
    facts = BloomFacts(said=SAID_NORTH, last_seen=date(2026, 8, 20))
    assert window_of(facts, NORTH, date(2026, 8, 21)).end_sd == 1.0
    assert window_of(facts, NORTH, date(2026, 9, 1)).origin == date(2027, 6, 1)


def test_a_bud_after_the_usual_end_still_opens() -> None:
    facts = BloomFacts(said=SAID_NORTH, bud_stage="under water", bud_seen=date(2026, 9, 15))
    window = window_of(facts, NORTH, date(2026, 9, 16))
    assert window.end_mean == window.start_mean + constants.SHORTEST_SEASON_DAYS.value


def test_a_season_still_in_flower_after_its_usual_end_is_on() -> None:
    facts = BloomFacts(said=SAID_NORTH, first_seen=date(2026, 6, 1), flower_counts=((date(2026, 10, 20), 1),))
    window = window_of(facts, NORTH, date(2026, 10, 21))
    assert window.origin == date(2026, 6, 1)
    assert interval_of(window).end_10 >= date(2026, 10, 20)


# --- counts ---


def test_counts_update_the_rate_from_the_first_flower_on() -> None:
    counts = tuple((date(2026, 6, 1) + timedelta(days=day), 1 if day == 5 else 0) for day in range(30))
    window = window_of(
        BloomFacts(said=SAID_NORTH, flower_counts=counts), replace(NORTH, crowns=2), date(2026, 7, 1)
    )
    # 25 watched days from the first flower on, two crowns; the five empty days before it are not bloom.
    assert (window.rate_shape, window.rate_exposure_days) == (2.0 + 1.0, 8.0 + 50.0)
    assert (window.basis, window.crowns, window.end_after) == ("flower seen", 2, 5.0)


def test_zero_counts_alone_say_nothing_of_the_rate() -> None:
    window = window_of(
        BloomFacts(said=SAID_NORTH, flower_counts=((date(2026, 6, 5), 0),)), NORTH, date(2026, 6, 6)
    )
    assert (window.rate_shape, window.rate_exposure_days, window.basis) == (2.0, 8.0, "said")


def test_counts_of_last_season_are_not_this_season_s() -> None:
    facts = BloomFacts(said=SAID_NORTH, flower_counts=((date(2025, 7, 1), 5),))
    window = window_of(facts, NORTH, date(2026, 3, 1))
    assert (window.rate_shape, window.basis) == (2.0, "said")


# --- no season and no forecast ---


def test_all_year_said_under_glass_has_no_dates_but_a_rate() -> None:
    facts = BloomFacts(
        all_year=True,
        weak_months=frozenset({1}),
        flower_counts=((date(2026, 6, 1), 0), (date(2026, 6, 2), 3)),
    )
    window = window_of(facts, GLASS, date(2026, 7, 1))
    assert window.all_year
    assert window_interval(window) is None
    assert (window.basis, window.weak_months) == ("flower seen", frozenset({1}))
    assert (window.rate_shape, window.rate_exposure_days) == (5.0, 6.0)


def test_a_flower_in_an_all_year_climate_settles_whether_it_flowers() -> None:
    window = window_of(BloomFacts(first_seen=date(2026, 2, 1)), TROPICS, date(2026, 7, 1))
    assert (window.all_year, window.flowering_chance, window.basis) == (True, 1.0, "flower seen")


@pytest.mark.parametrize(
    ("setting", "reason"),
    [
        (GLASS, "ask_under_glass"),
        (replace(GLASS, water="heated"), "ask_heated"),
        (replace(GLASS, water="outdoor"), "no_outdoor_bloom"),
        (replace(TROPICS, monthly_mean_c=None), "ask_tropical_site"),
    ],
)
def test_no_forecast_says_why(setting: PlantSetting, reason: str) -> None:
    assert forecast(BloomFacts(), setting, date(2026, 6, 1)) is None
    assert why_no_forecast(BloomFacts(), setting, date(2026, 6, 1)) == reason


def test_a_forecast_needs_no_reason() -> None:
    assert why_no_forecast(BloomFacts(said=SAID_NORTH), GLASS, date(2026, 6, 1)) is None


def test_a_bud_under_glass_is_a_forecast_of_this_season_only() -> None:
    facts = BloomFacts(bud_stage="at the surface", bud_seen=date(2026, 6, 1))
    window = window_of(facts, GLASS, date(2026, 6, 2))
    assert window.basis == "bud seen"
    assert date_of(window, window.start_mean) == date(2026, 6, 5)
    assert why_no_forecast(facts, GLASS, date(2027, 6, 2)) == "ask_under_glass"


def test_counted_flowers_under_glass_are_a_forecast_of_this_season_only() -> None:
    facts = BloomFacts(flower_counts=((date(2026, 6, 1), 2),))
    assert window_of(facts, GLASS, date(2026, 6, 2)).basis == "flower seen"
    assert forecast(facts, GLASS, date(2027, 6, 2)) is None


@pytest.mark.parametrize(
    "facts",
    [
        BloomFacts(first_seen=date(2026, 6, 2)),
        BloomFacts(not_yet=date(2026, 6, 2)),
        BloomFacts(bud_stage="under water", bud_seen=date(2026, 6, 2)),
        BloomFacts(flower_counts=((date(2026, 6, 2), 1),)),
        BloomFacts(records=(SeasonRecord(date(2026, 5, 2), date(2026, 6, 2)),)),
    ],
)
def test_facts_of_tomorrow_are_refused(facts: BloomFacts) -> None:
    with pytest.raises(ValueError, match="is 2026-06-02, after today 2026-06-01; allowed: up to today"):
        forecast(facts, NORTH, date(2026, 6, 1))
