"""An invented plan of a pairing, for tests of what is stored and said of it."""

from dataclasses import replace
from datetime import date
from typing import Any

from exchange.matching.bud_wait import BudWait
from exchange.matching.chance import Estimate
from exchange.matching.plan import PairPlan, PlannedDates
from exchange.models import Pairing
from exchange.selectors.plan_record import plan_record


def planned_dates(**changes: Any) -> PlannedDates:
    """Post on Thursday 18 June 2026, not later than the Thursday after."""
    plain = PlannedDates(
        post_on=date(2026, 6, 18),
        not_later_than=date(2026, 6, 25),
        decided_by="transit",
        send_at_once=False,
        good_first=date(2026, 6, 16),
        good_last=date(2026, 6, 25),
        arrival_half=date(2026, 6, 22),
        arrival_nine_tenths=date(2026, 6, 25),
    )
    return replace(plain, **changes)


def a_bud_wait(**changes: Any) -> BudWait:
    """At the bud each dose 10 in 100, so that the lot does better not to wait."""
    plain = BudWait(posted_chance=1.0, each_posted=Estimate(0.1, 0.02, 0.28), each_promised=0.1, better=False)
    return replace(plain, **changes)


RARELY = a_bud_wait(
    posted_chance=0.68, each_posted=Estimate(0.15, 0.05, 0.4), each_promised=0.102, better=True
)
"""Of a seed parent that may not flower at all."""


def a_plan(**changes: Any) -> PairPlan:
    """Each flower 12 in 100, with four of them a third; pollen in hand, a recipient with records."""
    plain = PairPlan(
        each_flower=Estimate(0.12, 0.03, 0.31),
        dose_chances=(0.12, 0.11, 0.09, 0.05),
        several=Estimate(0.33, 0.1, 0.7),
        flowers=4,
        flowers_expected=9.5,
        compatibility=Estimate(0.4, 0.2, 0.6),
        posted_chance=1.0,
        lost_chance=0.01,
        precision="days",
        dates=planned_dates(),
        likeliest_posting=date(2026, 6, 18),
        donor_basis="lot in hand",
        recipient_basis="records",
        reasons=(),
        bud_wait=a_bud_wait(),
    )
    return replace(plain, **changes)


def a_pairing(**changes: Any) -> Pairing:
    """An unsaved pairing with such a plan."""
    return Pairing(plan=plan_record(a_plan(**changes)))


JULY: dict[str, Any] = {
    "post_on": date(2027, 7, 8),
    "not_later_than": date(2027, 7, 15),
    "arrival_half": date(2027, 7, 12),
    "arrival_nine_tenths": date(2027, 7, 15),
}
FLOWERS = {"first_day": "2027-07-09", "first_day_flower_chance": [0.1, 0.4, 0.5, 0.8, 0.6, 0.39, 0.5]}


def stands(pairing: Pairing, *, precision: str = "days", has_picture: bool = True, **changes: Any) -> None:
    """Let a stored pairing have a plan for July 2027, and the flowers that go with it."""
    dates = {**JULY, **changes}
    Pairing.objects.filter(pk=pairing.pk).update(
        plan=plan_record(a_plan(precision=precision, dates=planned_dates(**dates))),
        timeline=FLOWERS if has_picture else None,
        post_on=dates["post_on"],
        not_later_than=dates["not_later_than"],
    )
