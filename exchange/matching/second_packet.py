"""A second packet for one wanted cross: of another donor, or of the same donor later in the season."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from exchange.matching import posting
from exchange.matching.baskets import Basket, at_least_one
from exchange.matching.eligibility import compatibility
from exchange.matching.several import Arrival, arrivals
from exchange.matching.side import CrossWanted, Lane, PollenOffer
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.compatibility import compatibility_draws

LATER_DAYS = 7
"""A second packet of the same donor goes so many days after the first, or later (judgement: a week)."""


@dataclass(frozen=True)
class Packet:
    """The day on which a packet is likeliest posted, and the ways in which it may then arrive."""

    day: int
    arrivals: tuple[Arrival, ...]


@dataclass(frozen=True)
class Sender:
    """One offer laid out towards a wanted cross, with what posting on each day is worth."""

    offer: PollenOffer
    lane: Lane
    course: posting.Course
    value: posting.Value
    takes: FloatArray

    @cached_property
    def first_packet(self) -> Packet | None:
        """The packet that its pairing speaks of."""
        return self.packet(0)

    def packet(self, not_before: int) -> Packet | None:
        """A packet posted by the donor's table from a day ahead on; None where that is worth nothing.

        It arrives as one posted on its likeliest day does, and so much more rarely as the donor may wait
        for a flower in vain.
        """
        ahead = np.arange(self.value.mean.size) >= not_before
        value = posting.Value(self.value.by_rest * ahead[:, None], self.value.mean * ahead)
        followed = posting.follow(self.offer, self.lane, self.course, value)
        if followed.value <= 0.0:
            return None
        day = followed.likeliest_day
        ways = arrivals(self.offer, self.lane, self.course, day, self.takes, least_share=0.0)
        posted = followed.value / float(self.value.by_rest[day, 0])
        posted = min(posted, 1.0 / sum(way.chance for way in ways))
        return Packet(day, tuple(replace(way, chance=way.chance * posted) for way in ways))


def sender(
    offer: PollenOffer, wanted: CrossWanted, lane: Lane, today: date, flowers: posting.RecipientFlowers
) -> Sender:
    """Lay an eligible offer out towards a wanted cross, as its plan does."""
    course = posting.course(offer, wanted, lane, today, flowers)
    taking = compatibility(wanted.parent, offer.parent)
    count = int(constants.RANGE_DRAW_COUNT.value)
    takes = compatibility_draws(taking.prior, modifier=taking.factor, count=count)
    return Sender(offer, lane, course, posting.central_value(offer, lane, course), takes)


def alone(first: Sender, doses: int) -> float:
    """Chance of at least one capsule from one packet of a sender, 0 where it cannot be posted."""
    packet = first.first_packet
    return at_least_one([Basket(doses, packet.arrivals)], first.course.flowers.rate) if packet else 0.0


@dataclass(frozen=True)
class Split:
    """Doses in two packets, their likeliest posting days, and the chance of at least one capsule."""

    doses: tuple[int, int]
    days: tuple[date, date]
    at_least_one: float


def split(first: Sender, second: Sender, doses: tuple[int, int]) -> Split | None:
    """Doses in two packets; None where one of them cannot be posted.

    Where both senders are the same, the second packet follows a week after the first, or later.
    """
    one = first.first_packet
    if one is None:
        return None
    other = second.packet(one.day + LATER_DAYS) if second is first else second.first_packet
    if other is None:
        return None
    baskets = [Basket(count, packet.arrivals) for count, packet in zip(doses, (one, other), strict=True)]
    today = first.course.today
    days = today + timedelta(days=one.day), today + timedelta(days=other.day)
    return Split(doses, days, at_least_one(baskets, first.course.flowers.rate))


def shared_between(total: int, most_of_first: int, most_of_second: int) -> tuple[int, int] | None:
    """Halves of the doses, as far as both can give them; None where one would give nothing."""
    second = min(most_of_second, total // 2)
    first = min(most_of_first, total - second)
    second = min(most_of_second, total - first)
    return (first, second) if first and second else None
