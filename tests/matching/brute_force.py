"""The definition taken literally: day by day, draw by draw, flower history by flower history.

Nothing of the engine is called. It shares the laws (day numbers, calendars' ``is_open``, thermal age in a
parcel), the draws and the bloom scenarios, so that whatever differs is arithmetic.
"""

import math
from collections.abc import Iterator
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from exchange.matching import posting
from exchange.science import constants
from exchange.science.bloom_scenario import BloomScenarios
from exchange.science.business_day import ServiceCalendar
from exchange.science.compatibility import group_prior
from exchange.science.live_effect import live_effect_rates
from exchange.science.parcel import heat_class_c, thermal_age_in_parcel_days
from exchange.science.transit import Transit
from exchange.science.viability import prior_draws
from tests.matching.instance import Instance

History = tuple[int, ...]


class BruteForce:
    """One pair, worked out by the definition."""

    def __init__(self, pair: Instance) -> None:
        assert pair.wanted.bloom is not None
        self.pair, self.lane, self.offer = pair, pair.lane, pair.offer
        self.recipient = pair.wanted.bloom.scenarios
        night = pair.wanted.parent.diel == "night"
        self.waits = 0 if night or self.lane.delivery_before_opening else 1
        self.draws, self.strength = prior_draws(pair.offer.treatment), live_effect_rates()
        self.held = 1 if self.offer.parent.diel == "night" or not self.lane.collected_before_cut_off else 0
        self.drying = 0 if self.offer.treatment == "fresh" else 1
        self.effects: dict[tuple[float, int, int, int], list[float]] = {}
        self.weights: dict[tuple[str, int, int], float] = {}
        self.worths: dict[tuple[str, int, int], float] = {}
        self.ahead: dict[tuple[int, History], float] = {}
        self.rests: dict[tuple[int, int], int | None] = {}
        self.shares: dict[tuple[int, int], float] = {}
        self.last_uses: dict[int, int] = {}

    # --- flowers ---

    def flowers_on(self, scenarios: BloomScenarios, number: int, day: int, end_at: float = math.inf) -> float:
        """Flowers expected on a day ahead in one scenario."""
        on = self.pair.today + timedelta(days=day)
        since = (on - scenarios.origin).days
        end = min(float(scenarios.end_day[number]), end_at)
        if not scenarios.flowers[number] or not scenarios.start_day[number] <= since <= end:
            return 0.0
        weak = constants.WEAK_MONTH_FACTOR.value if on.month in scenarios.weak_months else 1.0
        return float(scenarios.rate_per_day[number]) * weak

    @cached_property
    def last_flower_day(self) -> int:
        """Last day ahead on which any scenario of the recipient has a flower; -1 without any."""
        span = int(constants.SEASON_HORIZON_DAYS.value) + posting.TRAVEL_MARGIN_DAYS
        scenarios = range(self.recipient.flowers.size)
        days = [d for d in range(span) if any(self.flowers_on(self.recipient, n, d) for n in scenarios)]
        return max(days, default=-1)

    @cached_property
    def early_end(self) -> float:
        """The 10 % quantile of the recipient's last day."""
        return float(np.quantile(self.recipient.end_day, 0.1)) if not self.recipient.all_year else math.inf

    def weight(self, case: str, arrival: int, wait: int) -> float:
        """Chance that the first flower from ``arrival`` on opens ``wait`` days later."""
        key = ("early" if case == "recipient_end" else "usual", arrival, wait)
        if key not in self.weights:
            end_at = self.early_end if key[0] == "early" else math.inf
            numbers = range(self.recipient.flowers.size)
            self.weights[key] = sum(self._weight_in(n, arrival, wait, end_at) for n in numbers) / len(numbers)
        return self.weights[key]

    def _weight_in(self, number: int, arrival: int, wait: int, end_at: float) -> float:
        chance = 1.0 - math.exp(-self.flowers_on(self.recipient, number, arrival + wait, end_at))
        for earlier in range(arrival, arrival + wait):
            chance *= math.exp(-self.flowers_on(self.recipient, number, earlier, end_at))
        return chance

    # --- the way ---

    @cached_property
    def days(self) -> int:
        """Days ahead that are looked at."""
        return min(int(constants.SEASON_HORIZON_DAYS.value), self.last_flower_day + 1)

    def is_open(self, day: int) -> bool:
        """Whether the donor can post on a day ahead."""
        return self.lane.origin.is_open(self.pair.today + timedelta(days=day))

    def last_open_before(self, day: int) -> int:
        """The open day before; one of 14 days before today at the earliest."""
        earlier = day - 1
        while not self.is_open(earlier) and earlier > -int(constants.LONGEST_CLOSED_RUN_DAYS.value):
            earlier -= 1
        return earlier

    def delivered(self, day: int, business_days: int) -> int:
        """Day ahead of delivery."""
        on = self.pair.today + timedelta(days=day)
        for _ in range(business_days):
            on = _next(on, self.lane.origin, self.lane.destination)
        on += timedelta(days=self.lane.customs_delay_days)
        while not self.lane.destination.is_open(on):
            on += timedelta(days=1)
        return (on - self.pair.today).days

    # --- the pollen ---

    def effect(self, day: int, parcel_days: int, cool_days: int) -> list[float]:
        """Live effect of each draw after so many days in a parcel posted on ``day`` and at 4 °C."""
        heat = heat_class_c(float(self.lane.ambient_c[(self.pair.today + timedelta(days=day)).month - 1]))
        lot = self.offer.lot
        frozen_days = lot.stored_days + day if lot and lot.store == "freezer" else 0
        key = (heat, frozen_days, parcel_days, cool_days)
        if key not in self.effects:
            self.effects[key] = [self._effect(number, *key) for number in range(self.strength.size)]
        return self.effects[key]

    def _effect(self, number: int, heat: float, frozen: int, parcel_days: int, cool_days: int) -> float:
        q10 = float(self.draws.q10[number])
        age = self.drying * constants.DRYING_HOURS.value / 24.0 * q10**1.8 + frozen * q10**-0.4
        hours = np.array([24.0 * parcel_days])
        age += float(thermal_age_in_parcel_days(self.lane.packing, heat, hours, np.array([q10]))[0, 0])
        halvings = (age + cool_days) / float(self.draws.half_life_days[number])
        left = 0.5 ** (halvings ** float(self.draws.shape[number]))
        strength = float(self.strength[number])
        return (1.0 - math.exp(-strength * left)) / (1.0 - math.exp(-strength))

    def kept(self, case: str, day: int, parcel_days: int, cool_days: int) -> float:
        """Mean live effect, or its 10 % quantile in the unfavourable case; nothing once it is negligible."""
        by_draw = self.effect(day, parcel_days, cool_days)
        if sum(by_draw) / len(by_draw) < constants.NEGLIGIBLE_EFFECT.value:
            return 0.0
        if case == "viability":
            return sorted(by_draw)[math.ceil(0.1 * len(by_draw)) - 1]
        return sum(by_draw) / len(by_draw)

    # --- what a packet is worth ---

    def uses(self, case: str, day: int, rest: int) -> Iterator[tuple[float, int, int]]:
        """Chance, days in the parcel and days at 4 °C of each way in which a packet may be used."""
        way: Transit = self.lane.slow_transit if case == "transit" else self.lane.transit
        lot, waits = self.offer.lot, self.waits
        stored = lot.stored_days + day if lot and lot.store == "refrigerator" else 0
        for step, share in enumerate(way.day_probability, start=1):
            if share == 0.0:
                continue
            arrival = self.delivered(day, step)
            for wait in range(self.last_flower_day - arrival - waits + 1):
                chance = float(share) * self.weight(case, arrival + waits, wait)
                yield chance, arrival - day, stored + rest + waits + wait

    def worth(self, case: str, day: int, rest: int) -> float:
        """Chance that the pollen of a packet would set seed on a parent that always takes."""
        key = (case, day, rest)
        if key not in self.worths:
            ways = self.uses(case, day, rest) if self.is_open(day) else iter(())
            self.worths[key] = sum(
                chance * self.kept(case, day, parcel, cool) for chance, parcel, cool in ways if chance > 0.0
            )
        return self.worths[key]

    # --- what the donor has ---

    def rest_of(self, day: int, opening: int) -> int | None:
        """Days at 4 °C of the freshest pollen of one flower that became ready since the last open day."""
        if (day, opening) not in self.rests:
            self.rests[day, opening] = self._rest_of(day, opening)
        return self.rests[day, opening]

    def _rest_of(self, day: int, opening: int) -> int | None:
        if not self.is_open(day):
            return None
        rests = []
        for pollen_day in range(self.offer.parent.pollen_first_day, self.offer.parent.pollen_last_day + 1):
            collected = opening + pollen_day - 1
            # A flower is known the day after it opened; pollen that is ready sooner waits for that.
            ready = max(collected + self.drying + self.held, opening + 1)
            if self.last_open_before(day) < ready <= day:
                rests.append(day - collected - self.drying)
        return min(rests, default=None)

    @cached_property
    def memory_days(self) -> int:
        """Days for which a flower can matter to the donor."""
        gaps = [day - self.last_open_before(day) for day in range(self.days) if self.is_open(day)]
        return self.offer.parent.pollen_last_day + self.drying + self.held + max(gaps, default=1)

    def stays_frozen(self, day: int) -> bool:
        """Whether a frozen lot waits: for a flower that is near, and for the week to begin."""
        if self.offer.lot is None or self.offer.lot.store != "freezer":
            return False
        opened = [each for each in range(self.days) if self.is_open(each)]
        begins = [each for each in opened if self.last_open_before(each) < each - 1]
        if begins and day not in (opened[0], *begins):
            return True
        numbers = range(self.recipient.flowers.size)
        ahead = range(self.last_flower_day + 1)
        first = min(d for d in ahead if any(self.flowers_on(self.recipient, n, d) for n in numbers))
        return self.delivered(day, 1) + self.waits < first - constants.FROZEN_UNTIL_DAYS.value

    def ready(self, day: int) -> dict[int, float]:
        """Chance of each rest of the freshest pollen ready on a day."""
        if self.offer.lot is not None:
            return {0: 1.0} if self.is_open(day) and not self.stays_frozen(day) else {}
        assert self.offer.bloom is not None
        if not self.is_open(day):
            return {}
        scenarios = self.offer.bloom.scenarios
        openings = range(day - self.memory_days - 1, day)
        rests = {opening: self.rest_of(day, opening) for opening in openings}
        found: dict[int, float] = {}
        for number in range(scenarios.flowers.size):
            rate = {opening: self.flowers_on(scenarios, number, opening) for opening in openings}
            for rest in sorted({rest for rest in rests.values() if rest is not None}):
                fresher = sum(rate[o] for o in openings if (held := rests[o]) is not None and held < rest)
                same = sum(rate[o] for o in openings if rests[o] == rest)
                chance = math.exp(-fresher) * (1.0 - math.exp(-same)) / scenarios.flowers.size
                found[rest] = found.get(rest, 0.0) + chance
        return found

    # --- the donor decides ---

    def opening_chance(self, number: int, day: int) -> float:
        """Chance of a new flower of the donor on a day in one scenario."""
        assert self.offer.bloom is not None
        if (number, day) not in self.shares:
            expected = self.flowers_on(self.offer.bloom.scenarios, number, day)
            self.shares[number, day] = 1.0 - math.exp(-expected)
        return self.shares[number, day]

    def mean_opening_chance(self, day: int) -> float:
        """The same as the donor knows it."""
        assert self.offer.bloom is not None
        count = self.offer.bloom.scenarios.flowers.size
        return sum(self.opening_chance(number, day) for number in range(count)) / count

    def after(self, history: History, day: int, seen: bool) -> History:
        """The flowers that still matter on the day after: their pollen can be posted on some day ahead."""
        known = (*history, day) if seen else history
        return tuple(opening for opening in known if self.last_use(opening) > day)

    def last_use(self, opening: int) -> int:
        """Last day on which pollen of a flower can be posted."""
        if opening not in self.last_uses:
            days = range(opening + 1, opening + self.memory_days + 2)
            useful = [day for day in days if self.rest_of(day, opening) is not None]
            self.last_uses[opening] = max(useful, default=opening)
        return self.last_uses[opening]

    def post_value(self, day: int, history: History) -> tuple[int, float]:
        """Rest and worth of what can be posted on a day; worth 0 where there is nothing."""
        rests = [rest for opening in history if (rest := self.rest_of(day, opening)) is not None]
        if not self.is_open(day) or not rests:
            return -1, 0.0
        return min(rests), self.worth("central", day, min(rests))

    def wait_value(self, day: int, history: History) -> float:
        """Worth of not posting today and doing best from tomorrow, as far as the donor can know."""
        if day + 1 >= self.days:
            return 0.0
        chance = self.mean_opening_chance(day)
        value = 0.0
        for seen, share in ((False, 1.0 - chance), (True, chance)):
            if share > 0.0:
                value += share * self.best_value(day + 1, self.after(history, day, seen))
        return value

    def best_value(self, day: int, history: History) -> float:
        """Worth of doing best from a day on."""
        key = (day, history)
        if key not in self.ahead:
            self.ahead[key] = max(self.post_value(day, history)[1], self.wait_value(day, history))
        return self.ahead[key]

    @cached_property
    def posted(self) -> dict[tuple[int, int], float]:
        """Chance of posting on each day at each rest, over all scenarios and flower histories."""
        if self.offer.lot is not None:
            worths = [self.mean_worth("central", day) for day in range(self.days)]
            return {(self.first_of_best(worths), 0): 1.0} if max(worths) > 0.0 else {}
        assert self.offer.bloom is not None
        count = self.offer.bloom.scenarios.flowers.size
        found: dict[tuple[int, int], float] = {}
        for number in range(count):
            for key, chance in self._posted_in(number).items():
                found[key] = found.get(key, 0.0) + chance / count
        return found

    def _posted_in(self, number: int) -> dict[tuple[int, int], float]:
        histories: dict[History, float] = {(): 1.0}
        found: dict[tuple[int, int], float] = {}
        for day in range(-self.memory_days - 1, self.days):
            chance, following = self.opening_chance(number, day), dict[History, float]()
            for history, share in histories.items():
                if day >= 0:
                    rest, worth = self.post_value(day, history)
                    if worth > 0.0 and worth >= self.wait_value(day, history):
                        found[day, rest] = found.get((day, rest), 0.0) + share
                        continue
                for seen, part in ((False, 1.0 - chance), (True, chance)):
                    if part > 0.0:
                        later = self.after(history, day, seen)
                        following[later] = following.get(later, 0.0) + share * part
            histories = following
        return found

    @property
    def followed_value(self) -> float:
        """Worth of the donor's table, followed through every scenario."""
        return sum(chance * self.worth("central", *key) for key, chance in self.posted.items())

    # --- what is told ---

    @property
    def chance(self) -> float:
        """Chance that one dose ends in a capsule."""
        prior = group_prior(self.pair.wanted.parent.groups[0], self.offer.parent.groups[0])
        return prior.alpha / (prior.alpha + prior.beta) * self.followed_value

    def mean_worth(self, case: str, day: int) -> float:
        """Worth of posting on a day, over what may be ready."""
        ready = self.ready(day)
        total = sum(ready.values())
        if total == 0.0:
            return 0.0
        return sum(chance * self.worth(case, day, rest) for rest, chance in ready.items()) / total

    @staticmethod
    def first_of_best(worths: list[float]) -> int:
        """The first of equals: what differs in the seventh digit is equal."""
        return next(n for n, worth in enumerate(worths) if worth >= max(worths) * (1.0 - 1e-6))


def _next(on: date, *calendars: ServiceCalendar) -> date:
    on += timedelta(days=1)
    while not all(calendar.is_open(on) for calendar in calendars):
        on += timedelta(days=1)
    return on
