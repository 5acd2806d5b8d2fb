"""When a lot's anthers were cut, as far as it is known: the hour on the clock of the plant's cell."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from exchange.models import Lot
from exchange.science.constants import COLLECTED_HOUR


def cut_at(lot: Lot) -> datetime:
    """The instant from which a lot ages, UTC; the usual hour where none is stated. Plant and site loaded."""
    hour = int(COLLECTED_HOUR.value) if lot.collected_hour is None else lot.collected_hour
    zone = ZoneInfo(lot.plant.site.cell_zone)
    return datetime.combine(lot.collected_on, time(hour), zone).astimezone(UTC)


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
