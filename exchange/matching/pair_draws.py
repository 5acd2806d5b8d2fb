"""The draws of one pair by which a mean chance gets its likely range."""

from dataclasses import dataclass

from exchange.matching.chance import Estimate, Uses, packet_effect_by_draw, shown_estimate
from exchange.matching.effect import first_draws, posting_age_days
from exchange.matching.eligibility import Compatibility
from exchange.matching.side import Lane, PollenOffer
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.compatibility import compatibility_draws
from exchange.science.packing import Packing
from exchange.science.viability import ViabilityDraws, prior_draws


@dataclass(frozen=True)
class PairDraws:
    """Draws of the pollen, of its thermal age when it is posted, and of how well the two plants take.

    ``age_days`` and ``takes`` are arrays (draws,); ``mean_takes`` is the mean over all draws.
    """

    pollen: ViabilityDraws
    age_days: FloatArray
    takes: FloatArray
    mean_takes: float
    packing: Packing

    def estimate(self, value: float, uses: Uses, posted_chance: float = 1.0) -> Estimate:
        """Chance that a dose ends in a capsule, of those posted.

        ``value`` is the chance on a parent that always takes, of doses posted or not, and ``uses`` where
        their packets end.
        """
        effect = packet_effect_by_draw(uses, self.pollen, self.age_days, self.packing)
        mean, by_draw = self.mean_takes * value, self.takes * effect
        return shown_estimate(mean / posted_chance, by_draw / posted_chance, self.pollen.weight)


def pair_draws(offer: PollenOffer, lane: Lane, taking: Compatibility, frozen_days: int) -> PairDraws:
    """The first draws of a pair whose pollen leaves after so many days in a freezer."""
    pollen = first_draws(prior_draws(offer.treatment), int(constants.RANGE_DRAW_COUNT.value))
    count = pollen.q10.size
    return PairDraws(
        pollen=pollen,
        age_days=posting_age_days(offer.treatment, frozen_days)[:count],
        takes=compatibility_draws(taking.prior, modifier=taking.factor, count=count),
        mean_takes=taking.mean,
        packing=lane.packing,
    )
