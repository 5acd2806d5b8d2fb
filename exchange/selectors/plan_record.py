"""A plan as it is stored and shown: plain JSON, every estimate with its range and basis."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from exchange.matching.bud_wait import BudWait
from exchange.matching.chance import Estimate
from exchange.matching.donor_flowers import DonorFlowers
from exchange.matching.plan import PairPlan, PlannedDates
from exchange.matching.reason import Reason

DIGITS = 9


def plan_record(plan: PairPlan) -> dict[str, Any]:
    """All of a plan but its reasons; two baskets are reckoned once all pairings of a cross are known."""
    basis = {"donor": plan.donor_basis, "recipient": plan.recipient_basis}
    return {
        "each_flower": _estimate(plan.each_flower, basis),
        "dose_chances": [round(chance, DIGITS) for chance in plan.dose_chances],
        "several": {"flowers": plan.flowers, **_estimate(plan.several, basis)},
        "flowers_expected": round(plan.flowers_expected, DIGITS),
        "donor_flowers": _donor_flowers(plan.donor_flowers),
        "bud_wait": _bud_wait(plan.bud_wait, basis),
        "two_baskets": None,
        "compatibility": _estimate(plan.compatibility, {"compatibility": "prior of the groups"}),
        "posted_chance": round(plan.posted_chance, DIGITS),
        "lost_chance": round(plan.lost_chance, DIGITS),
        "precision": plan.precision,
        "dates": _dates(plan.dates),
        "likeliest_posting": plan.likeliest_posting.isoformat(),
        "basis": basis,
    }


def reason_records(reasons: Iterable[Reason]) -> list[dict[str, Any]]:
    """Reasons as ``{"code": …, "parameters": …}``."""
    return [{"code": reason.code, "parameters": dict(reason.parameters)} for reason in reasons]


def _estimate(estimate: Estimate, basis: Mapping[str, str]) -> dict[str, Any]:
    return {
        "estimate": round(estimate.estimate, DIGITS),
        "low": round(estimate.low, DIGITS),
        "high": round(estimate.high, DIGITS),
        "basis": basis,
    }


def _donor_flowers(flowers: DonorFlowers | None) -> dict[str, Any] | None:
    return {"needed": flowers.needed, "chance": round(flowers.chance, DIGITS)} if flowers else None


def _bud_wait(wait: BudWait | None, basis: Mapping[str, str]) -> dict[str, Any] | None:
    if wait is None:
        return None
    return {
        "posted_chance": round(wait.posted_chance, DIGITS),
        "each_posted": _estimate(wait.each_posted, basis),
        "each_promised": round(wait.each_promised, DIGITS),
        "better": wait.better,
    }


def _dates(dates: PlannedDates | None) -> dict[str, Any] | None:
    if dates is None:
        return None
    return {
        name: value.isoformat() if isinstance(value, date) else value for name, value in vars(dates).items()
    }
