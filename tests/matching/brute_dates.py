"""The dates of a pairing by their definition, from worths found by brute force."""

import math
from dataclasses import dataclass
from functools import cached_property

from exchange.matching.posting_date import Decider
from exchange.science import constants
from tests.matching.brute_force import BruteForce

CASES: tuple[Decider, ...] = ("central", "viability", "recipient_end", "transit")


@dataclass(frozen=True)
class Dates:
    """Days ahead; ``not_later_than`` is None where every case reaches the horizon."""

    post_on: int
    not_later_than: int | None
    decided_by: str
    send_at_once: bool


class BruteDates(BruteForce):
    """One pair with its dates."""

    @cached_property
    def candidates(self) -> list[int]:
        """Days that may be named: open, near, and with pollen likely enough."""
        return [day for day in self.season if day <= constants.HORIZON_DAYS.value]

    @cached_property
    def season(self) -> list[int]:
        """Open days of the whole season with pollen likely enough."""
        least = constants.READY_CHANCE_MINIMUM.value
        every = range(self.days)
        return [day for day in every if self.is_open(day) and sum(self.ready(day).values()) >= least]

    @property
    def is_best_beyond(self) -> bool:
        """Whether the best day of the season lies beyond the days that may be named."""
        worths = [self.mean_worth("central", day) for day in self.season]
        return max(worths, default=0.0) > 0.0 and self.season[self.first_of_best(worths)] > (
            constants.HORIZON_DAYS.value
        )

    def best_day(self, case: str, until: int) -> int | None:
        """The best day to name, none if nothing is worth posting."""
        days = [day for day in self.candidates if day <= until]
        worths = [self.mean_worth(case, day) for day in days]
        if max(worths, default=0.0) <= 0.0:
            return None
        return days[self.first_of_best(worths)]

    def last_good_day(self, case: str, best: int) -> float:
        """Last day of the unbroken run of good days, infinite if it reaches the horizon."""
        least = constants.GOOD_DAY_FRACTION.value * self.mean_worth(case, best)
        last = best
        for day in range(best + 1, min(self.days, int(constants.HORIZON_DAYS.value) + 1)):
            if not self.is_open(day):
                continue
            if day not in self.candidates or self.mean_worth(case, day) < least:
                return last
            last = day
        return math.inf

    @property
    def dates(self) -> Dates | None:
        """Post on, not later than, and what decides it; None where no day can be named."""
        best = {case: self.best_day(case, self.days) for case in CASES}
        central = best["central"]
        if central is None or self.is_best_beyond:
            return None
        for case, day in best.items():
            if day is None:
                return Dates(self.candidates[0], self.candidates[0], case, True)
        ends = {case: self.last_good_day(case, day) for case, day in best.items() if day is not None}
        decider = min(CASES, key=lambda case: ends[case])
        if math.isinf(ends[decider]):
            return Dates(central, None, "viability", False)
        last = int(ends[decider])
        post_on = central if central <= last else self.best_day("central", last)
        assert post_on is not None
        return Dates(post_on, last, decider, False)
