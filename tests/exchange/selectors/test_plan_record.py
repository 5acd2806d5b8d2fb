"""A plan as stored: JSON that comes back as it went in, every estimate with its range and its basis."""

import json
from dataclasses import replace
from datetime import date

import numpy as np

from exchange.matching.chance import Estimate
from exchange.matching.donor_flowers import DonorFlowers
from exchange.matching.plan import PairPlan, PlannedDates
from exchange.matching.reason import Reason
from exchange.selectors.plan_record import plan_record, reason_records
from tests.exchange.plan import RARELY, a_plan, planned_dates

BASIS = {"donor": "lot in hand", "recipient": "records"}


def test_every_estimate_has_a_range_and_a_basis() -> None:
    record = plan_record(a_plan())
    assert record["each_flower"] == {"estimate": 0.12, "low": 0.03, "high": 0.31, "basis": BASIS}
    assert record["several"] == {"flowers": 4, "estimate": 0.33, "low": 0.1, "high": 0.7, "basis": BASIS}
    assert record["compatibility"] == {
        "estimate": 0.4,
        "low": 0.2,
        "high": 0.6,
        "basis": {"compatibility": "prior of the groups"},
    }
    assert record["basis"] == BASIS


def test_flowers_of_the_donor_are_told_where_pollen_is_collected_on_request() -> None:
    assert plan_record(a_plan())["donor_flowers"] is None
    record = plan_record(a_plan(donor_flowers=DonorFlowers(4, 1.0 / 3.0)))
    assert record["donor_flowers"] == {"needed": 4, "chance": 0.333333333}


def test_what_waiting_for_the_bud_gives_is_told_of_a_lot_that_may_wait() -> None:
    assert plan_record(a_plan(bud_wait=None))["bud_wait"] is None
    assert plan_record(a_plan(bud_wait=RARELY))["bud_wait"] == {
        "posted_chance": 0.68,
        "each_posted": {"estimate": 0.15, "low": 0.05, "high": 0.4, "basis": BASIS},
        "each_promised": 0.102,
        "better": True,
    }


def test_dates_are_civil_dates_and_no_hour_is_stored() -> None:
    record = plan_record(a_plan())
    assert record["dates"] == {
        "post_on": "2026-06-18",
        "not_later_than": "2026-06-25",
        "decided_by": "transit",
        "send_at_once": False,
        "good_first": "2026-06-16",
        "good_last": "2026-06-25",
        "arrival_half": "2026-06-22",
        "arrival_nine_tenths": "2026-06-25",
    }
    assert (record["precision"], record["likeliest_posting"]) == ("days", "2026-06-18")


def test_a_plan_without_a_day_or_without_a_deadline() -> None:
    assert plan_record(replace(a_plan(), dates=None))["dates"] is None
    endless: PlannedDates = replace(planned_dates(), not_later_than=None)
    assert plan_record(replace(a_plan(), dates=endless))["dates"]["not_later_than"] is None


def test_a_record_comes_back_from_json_as_it_went_in() -> None:
    chance = np.float64(1.0) / 3.0
    plan: PairPlan = replace(a_plan(), each_flower=Estimate(chance, chance / 2.0, chance * 2.0))
    record = plan_record(plan)
    assert json.loads(json.dumps(record)) == record
    assert record["each_flower"]["estimate"] == 0.333333333


def test_reasons_keep_code_and_parameters() -> None:
    reasons = [Reason("groups_refused", {"seed_groups": "hardy", "pollen_groups": "nelumbo"}), Reason("bare")]
    assert reason_records(reasons) == [
        {"code": "groups_refused", "parameters": {"seed_groups": "hardy", "pollen_groups": "nelumbo"}},
        {"code": "bare", "parameters": {}},
    ]
    assert date.fromisoformat(plan_record(a_plan())["dates"]["post_on"]) == date(2026, 6, 18)
