"""How many flowers of the donor a packet takes, and the chance that so many have opened in time."""

from dataclasses import dataclass
from datetime import date, timedelta

from exchange.matching.readiness import donor_clock
from exchange.matching.side import Lane, PollenOffer
from exchange.science.bloom_scenario import daily_rate
from exchange.science.flower import flowers_probability

LIKELY = 0.5
"""Under an even chance more doses are wanted than flowers expected (definition)."""


@dataclass(frozen=True)
class DonorFlowers:
    """Flowers needed for the doses of a packet, and the chance that they are there by its posting day."""

    needed: int
    chance: float

    @property
    def too_many(self) -> bool:
        """Whether several flowers are needed and not to be expected; of one, the chance of posting tells."""
        return self.needed > 1 and self.chance < LIKELY


def donor_flowers(
    offer: PollenOffer, lane: Lane, today: date, posting_day: int, doses: int
) -> DonorFlowers | None:
    """Flowers whose pollen is ready on some day from today to a posting day ahead; None for a lot.

    Pollen of earlier flowers is kept for the packet, so that all of them count.
    """
    if offer.lot is not None or offer.bloom is None:
        return None
    needed = -(-doses // offer.doses_per_flower)
    clock = donor_clock(offer, lane)
    oldest = 1 - clock.lag_days - clock.shedding_days
    days = posting_day - clock.lag_days - oldest + 1
    rate = daily_rate(offer.bloom.scenarios, today + timedelta(days=oldest), days)
    chances = [flowers_probability(float(total), 1.0, least=needed) for total in rate.sum(axis=1)]
    return DonorFlowers(needed, sum(chances) / len(chances))
