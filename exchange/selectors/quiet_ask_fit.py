"""Whether pollen that nobody offers would do for a wanted cross, reckoned as if it were offered dried."""

from dataclasses import dataclass, replace
from datetime import date

from exchange.matching.eligibility import refusals
from exchange.matching.plan import pair_chance
from exchange.matching.posting import RecipientFlowers, recipient_flowers
from exchange.matching.side import Bloom, CrossWanted, PollenOffer
from exchange.models import Offer, WantedCross
from exchange.models.offer import PackingPreset
from exchange.selectors.bloom_forecast import blooms
from exchange.selectors.border import border_notes
from exchange.selectors.lane import lane
from exchange.selectors.side import cross_wanted, group_defaults, parent
from growers.models import Plant

FORECAST_TO_COME = {"pollen_parent_bloom_unknown"}
"""Plants are forecast last, because that is slow; before it this refusal says nothing."""


@dataclass(frozen=True)
class Wanting:
    """A wanted cross with its forecast and the flowers ahead, as the matching takes them."""

    row: WantedCross
    wanted: CrossWanted
    flowers: RecipientFlowers | None


class Fit:
    """What fits on one day; forecasts are made once for each plant, and only where one is needed."""

    def __init__(self, today: date) -> None:
        self._today, self._notes, self._defaults = today, border_notes(today), group_defaults()
        self._blooms: dict[int, Bloom | None] = {}

    def wanting(self, row: WantedCross) -> Wanting:
        """One side: a loaded wanted cross."""
        wanted = cross_wanted(row, self._bloom(row.seed_parent), self._defaults)
        return Wanting(row, wanted, recipient_flowers(wanted.bloom, self._today) if wanted.bloom else None)

    def fits(self, wanting: Wanting, plant: Plant) -> bool:
        """Whether dried pollen of a loaded plant would reach the least chance that is asked for."""
        offer, wanted = self._offer(wanting, plant), wanting.wanted
        against = {reason.code for reason in refusals(offer, wanted)} - FORECAST_TO_COME
        if against or self._notes.forbidding(offer, wanted) is not None:
            return False
        bloom = self._bloom(plant)
        if bloom is None:
            return False
        row = Offer(plant=plant, packing=PackingPreset.COLD_BOX)
        way = lane(row, plant.site, wanting.row.seed_parent.site, self._today)
        chance = pair_chance(replace(offer, bloom=bloom), wanted, way, self._today, wanting.flowers)
        return 0.0 < chance >= wanted.least_chance

    def _offer(self, wanting: Wanting, plant: Plant) -> PollenOffer:
        return PollenOffer(
            key=str(plant.public_id),
            parent=parent(plant, self._defaults, "pollen"),
            country=plant.site.cell_country,
            ships_to=frozenset(plant.grower.countries_shipped_to),
            treatment="dried",
            doses=wanting.wanted.flowers,
        )

    def _bloom(self, plant: Plant) -> Bloom | None:
        if plant.pk not in self._blooms:
            self._blooms |= blooms([plant], self._today)
        return self._blooms[plant.pk]
