"""The plan of one pairing: its chance, its posting dates and what decides them."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from exchange.matching import posting
from exchange.matching.bud_wait import BudWait, bud_wait
from exchange.matching.chance import Estimate, shown_estimate
from exchange.matching.donor_flowers import DonorFlowers, donor_flowers
from exchange.matching.eligibility import compatibility
from exchange.matching.pair_draws import pair_draws
from exchange.matching.posting_date import Decider, first_of_best, posting_dates
from exchange.matching.reason import Reason
from exchange.matching.several import several_flowers
from exchange.matching.side import Bloom, CrossWanted, Lane, PollenOffer
from exchange.science import constants
from exchange.science.bloom import Basis
from exchange.science.transit import arrival_quantile_days

Precision = Literal["season", "days", "clock"]


@dataclass(frozen=True)
class PlannedDates:
    """When to post: best day, last good day (None: no deadline this season), and what decided it.

    ``good_first`` and ``good_last`` bound the run of good days; the arrival dates hold if the parcel
    arrives and is posted on the best day.
    """

    post_on: date
    not_later_than: date | None
    decided_by: Decider
    send_at_once: bool
    good_first: date
    good_last: date
    arrival_half: date
    arrival_nine_tenths: date


@dataclass(frozen=True)
class PairPlan:
    """What one offer and one wanted cross promise together.

    ``each_flower`` is the chance that one dose set aside today ends in a capsule, all luck of bloom and
    post included; ``dose_chances`` that of the first, second, … dose of one packet; ``several`` that of
    at least one capsule from ``flowers`` doses, of the ``flowers_expected`` on which pollen posted on
    the likeliest day can be used. ``donor_flowers`` are those that its doses take of the donor, None for
    pollen in hand. ``dates`` is None where no day within the horizon can be
    named yet. ``precision`` says whether the dates stand for weeks of a season, for days, or may carry
    hours. ``bud_wait`` is what a lot gives that waits for the recipient's bud instead, None where there is
    nothing to wait for.
    """

    each_flower: Estimate
    dose_chances: tuple[float, ...]
    several: Estimate
    flowers: int
    flowers_expected: float
    compatibility: Estimate
    posted_chance: float
    lost_chance: float
    precision: Precision
    dates: PlannedDates | None
    likeliest_posting: date
    donor_basis: Basis | Literal["lot in hand"]
    recipient_basis: Basis
    reasons: tuple[Reason, ...]
    donor_flowers: DonorFlowers | None = None
    bud_wait: BudWait | None = None


def plan_pair(
    offer: PollenOffer,
    wanted: CrossWanted,
    lane: Lane,
    today: date,
    flowers: posting.RecipientFlowers | None,
) -> PairPlan | Reason:
    """Plan one eligible pairing from ``today`` on; a reason instead where no day ahead can work.

    Parameters
    ----------
    flowers : RecipientFlowers or None
        Of the wanted cross, from ``posting.recipient_flowers``; made once for all its offers.

    Raises
    ------
    ValueError
        If the wanted cross has no bloom forecast, or the offer has neither lot nor forecast; ask
        ``eligibility.refusals`` first.
    """
    if wanted.bloom is None:
        raise ValueError(f"bloom of {wanted.key} is missing; allowed: a forecast.")
    ahead = {"days": int(constants.SEASON_HORIZON_DAYS.value)}
    if flowers is None:
        return Reason("seed_parent_not_in_bloom_ahead", ahead)
    course = posting.course(offer, wanted, lane, today, flowers)
    values = posting.values(offer, lane, course)
    followed = posting.follow(offer, lane, course, values["central"])
    if followed.value <= 0.0:
        return Reason("bloom_does_not_meet", ahead)
    return _assemble(offer, wanted, wanted.bloom, lane, course, values, followed)


def pair_chance(
    offer: PollenOffer,
    wanted: CrossWanted,
    lane: Lane,
    today: date,
    flowers: posting.RecipientFlowers | None,
) -> float:
    """Chance of each flower alone, the same figure as ``plan_pair`` gives; 0 where no day ahead can work."""
    if flowers is None:
        return 0.0
    course = posting.course(offer, wanted, lane, today, flowers)
    followed = posting.follow(offer, lane, course, posting.central_value(offer, lane, course))
    return compatibility(wanted.parent, offer.parent).mean * followed.value


def _assemble(
    offer: PollenOffer,
    wanted: CrossWanted,
    bloom: Bloom,
    lane: Lane,
    course: posting.Course,
    values: dict[Decider, posting.Value],
    followed: posting.Followed,
) -> PairPlan:
    taking = compatibility(wanted.parent, offer.parent)
    by_draw = pair_draws(offer, lane, taking, posting.frozen_days(offer, followed.likeliest_day))
    each = by_draw.estimate(followed.value, posting.uses(offer, lane, course, followed))
    flowers = max(1, min(offer.doses, wanted.flowers))
    shares = posting.dose_shares(offer, lane, course, followed, flowers)
    return PairPlan(
        each_flower=each,
        dose_chances=tuple(each.estimate * share for share in shares),
        several=several_flowers(offer, lane, course, followed, by_draw.takes, each, flowers),
        flowers=flowers,
        flowers_expected=posting.flowers_expected(course, lane, followed),
        compatibility=shown_estimate(taking.mean, by_draw.takes, by_draw.pollen.weight),
        posted_chance=float(followed.posted.sum()),
        lost_chance=lane.transit.lost_probability,
        precision=precision(offer, bloom),
        dates=_dates(course, lane, values),
        likeliest_posting=course.today + timedelta(days=followed.likeliest_day),
        donor_basis=offer.bloom.basis if offer.lot is None and offer.bloom else "lot in hand",
        recipient_basis=bloom.basis,
        reasons=taking.reasons,
        donor_flowers=donor_flowers(offer, lane, course.today, followed.likeliest_day, flowers),
        bud_wait=bud_wait(offer, bloom, lane, course, by_draw, each),
    )


def precision(offer: PollenOffer, bloom: Bloom) -> Precision:
    """How precisely dates may be named: no day where either bloom is known worse than 12 days."""
    windows = [bloom.window] + ([offer.bloom.window] if offer.lot is None and offer.bloom else [])
    worst = max(0.0 if window.all_year else window.start_sd for window in windows)
    if worst > constants.PRECISE_BLOOM_SD_DAYS.value:
        return "season"
    return "clock" if offer.lot is not None else "days"


def _dates(course: posting.Course, lane: Lane, values: dict[Decider, posting.Value]) -> PlannedDates | None:
    horizon = constants.HORIZON_DAYS.value
    ready = course.ready.sum(axis=1) >= constants.READY_CHANCE_MINIMUM.value
    # A best day beyond the horizon would be mistaken for the horizon's last days.
    if first_of_best(np.where(ready, values["central"].mean, 0.0)) > horizon:
        return None
    ahead = np.arange(course.candidate.size) <= horizon
    cases = {name: value.mean for name, value in values.items()}
    found = posting_dates(cases, course.candidate, course.days.is_open & ahead)
    if found is None:
        return None

    def on(day: int) -> date:
        return course.today + timedelta(days=day)

    def arrival(probability: float) -> date:
        business_days = arrival_quantile_days(lane.transit, probability)
        return on(int(course.way.delivery_day[found.post_on, business_days - 1]))

    return PlannedDates(
        post_on=on(found.post_on),
        not_later_than=None if found.not_later_than is None else on(found.not_later_than),
        decided_by=found.decided_by,
        send_at_once=found.send_at_once,
        good_first=on(found.good.first),
        good_last=on(found.good.last),
        arrival_half=arrival(0.5),
        arrival_nine_tenths=arrival(0.9),
    )


def ranked(plans: dict[str, PairPlan]) -> list[str]:
    """Offer keys by chance, best first; ties go to the smaller key."""
    rounded = {key: float(np.round(plan.each_flower.estimate, 6)) for key, plan in plans.items()}
    return sorted(plans, key=lambda key: (-rounded[key], key))
