"""When a lot's anthers were cut, as far as it is known: the hour on the clock of the plant's cell."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from exchange.models import Lot
from exchange.science.constants import COLLECTED_HOUR


def cut_at(lot: Lot) -> datetime:
    """The instant from which a lot ages, UTC. Plant and site loaded.

    Where no hour is stated the usual one, or when it was noted if that was earlier on the day.
    """
    zone = ZoneInfo(lot.plant.site.cell_zone)
    if lot.collected_hour is not None:
        return datetime.combine(lot.collected_on, time(lot.collected_hour), zone).astimezone(UTC)
    usual = datetime.combine(lot.collected_on, time(int(COLLECTED_HOUR.value)), zone).astimezone(UTC)
    return min(usual, lot.created_at)


def hours_since_cut(lot: Lot, instant: datetime) -> float:
    """Hours from the cutting to an instant; 0 if that is before."""
    seconds = (instant - cut_at(lot)).total_seconds()
    return max(0.0, seconds / 3600.0)


def hour_of(lot: Lot, hours: float) -> datetime:
    """The same to the full hour: no date of a lot is known better."""
    return datetime.fromtimestamp(3600 * round(instant_of(lot, hours).timestamp() / 3600.0), UTC)


def instant_of(lot: Lot, hours: float) -> datetime:
    """The instant so many hours after the cutting, UTC, to the second."""
    return datetime.fromtimestamp(round(cut_at(lot).timestamp() + hours * 3600.0), UTC)
