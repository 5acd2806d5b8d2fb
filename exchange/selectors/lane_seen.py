"""What was seen of parcels between two countries: business days, lost ones, those under way."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from exchange.models import CarrierService, Shipment
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.transit import MAX_BUSINESS_DAYS
from exchange.selectors.carrier_service import promised_days
from growers.models import Site

State = Shipment.State
UNDER_WAY = (State.DISPATCHED, State.HELD)
SETTLED = (State.RECEIVED, State.LOST)


@dataclass(eq=False)
class LaneSeen:
    """Parcels received after 1 … 15 business days, lost, and of each under way the days it has taken."""

    delivered: FloatArray = field(default_factory=lambda: np.zeros(MAX_BUSINESS_DAYS))
    lost: int = 0
    under_way: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class LanesSeen:
    """Lanes on which a parcel has been sent, by their countries and the days that were promised."""

    lanes: Mapping[tuple[str, str, float], LaneSeen]

    def between(self, origin: Site, destination: Site, service: CarrierService | None = None) -> LaneSeen:
        """What was seen of parcels between the cells of two sites that were promised as soon."""
        countries = origin.cell_country, destination.cell_country
        promised = promised_days(service, abroad=countries[0] != countries[1])
        return self.lanes.get((*countries, promised), UNSEEN)


UNSEEN = LaneSeen()


def lanes_seen(today: date) -> LanesSeen:
    """All lanes on which a parcel has been sent; one query.

    A parcel under way has not come in as many weekdays as have passed since, but for those that customs
    take: that both ends were open on each of them is not looked up, which at most takes a slow parcel for
    a little slower.
    """
    found: dict[tuple[str, str, float], LaneSeen] = defaultdict(LaneSeen)
    rows = Shipment.objects.filter(state__in=(*UNDER_WAY, *SETTLED)).order_by("pk")
    names = ("origin_country", "destination_country", "promised_days", "state", "business_days")
    for origin, destination, promise, state, days, sent_on in rows.values_list(*names, "dispatched_on"):
        promised = float(promise or promised_days(None, abroad=origin != destination))
        seen = found[origin, destination, promised]
        if state == State.RECEIVED and days is not None:
            seen.delivered[min(max(days, 1), MAX_BUSINESS_DAYS) - 1] += 1.0
        elif state == State.LOST:
            seen.lost += 1
        elif state in UNDER_WAY and sent_on is not None:
            customs = int(constants.CUSTOMS_DELAY_DAYS.value) if origin != destination else 0
            seen.under_way.append(_days_not_come(sent_on, today - timedelta(days=customs)))
    return LanesSeen(dict(found))


def _days_not_come(sent_on: date, today: date) -> int:
    """Weekdays after the day of dispatch that are over; today may still bring it."""
    return max(0, int(np.busday_count(sent_on, today)) - 1)
