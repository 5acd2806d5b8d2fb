"""The lane of a parcel that a third grower gets, and posts on inland some days later."""

from datetime import date

import numpy as np

from exchange.matching.side import Lane
from exchange.science.arrays import FloatArray
from exchange.science.business_day import delivery_days
from exchange.science.check import check_range
from exchange.science.transit import MAX_BUSINESS_DAYS, Transit, arrival_quantile_days, slower

MOST_HANDLING_DAYS = 14
"""A third grower needs no longer before they post on (judgement)."""

ARRIVAL_PROBABILITY = 0.5
"""Of parcels that come: with this share a day of posting counts as one that reaches a day (judgement)."""


def detour_lane(first: Lane, second: Lane, handling_days: int) -> Lane:
    """One lane from the donor to the recipient by way of a third grower.

    Parameters
    ----------
    first, second : Lane
        From the donor to the third grower, and from there to the recipient.
    handling_days : int
        Calendar days between getting the one parcel and posting the other, 0 to 14.

    Returns
    -------
    Lane
        Business days are those of both legs together, what is beyond the last cell in the last one; a packet
        comes if neither parcel is lost. Calendars are those of the outer ends, so that a day closed at either
        delays both legs: rather later than earlier. The days of handling follow the last business day,
        wherever between the legs they fall. The coolant is that of the first parcel alone, and the air as
        warm as on the warmer leg: rather warmer than colder.

    Raises
    ------
    ValueError
        If ``handling_days`` is out of its range.
    """
    check_range("handling_days", handling_days, 0, MOST_HANDLING_DAYS)
    transit = one_after_the_other(first.transit, second.transit)
    return Lane(
        origin=first.origin,
        destination=second.destination,
        transit=transit,
        slow_transit=slower(transit),
        packing=first.packing,
        ambient_c=np.maximum(first.ambient_c, second.ambient_c),
        customs_delay_days=first.customs_delay_days + second.customs_delay_days + handling_days,
        collected_before_cut_off=first.collected_before_cut_off,
        delivery_before_opening=second.delivery_before_opening,
        handling_days=handling_days,
    )


def one_after_the_other(first: Transit, second: Transit) -> Transit:
    """Transit of two parcels, one after the other; 15 days or more are in the last cell.

    The legs are taken as independent: what delays one says nothing about the other.
    """
    together = np.convolve(first.day_probability, second.day_probability)
    # Entry i is the chance of i + 2 business days.
    days = np.zeros(MAX_BUSINESS_DAYS)
    days[1:] = together[: MAX_BUSINESS_DAYS - 1]
    days[-1] += together[MAX_BUSINESS_DAYS - 1 :].sum()
    lost = 1.0 - (1.0 - first.lost_probability) * (1.0 - second.lost_probability)
    return Transit(_summing_to(days, 1.0 - lost), lost)


def _summing_to(days: FloatArray, total: float) -> FloatArray:
    """Rounding of the convolution taken out."""
    return days * (total / days.sum()) if days.sum() > 0.0 else days


def posting_span(lane: Lane, today: date, reach_from: date, reach_until: date) -> tuple[date, date] | None:
    """First and last day of posting from ``today`` on after which half of the parcels come within two days.

    None where no day does.
    """
    days = (reach_until - today).days + 1
    if days < 1:
        return None
    half = arrival_quantile_days(lane.transit, ARRIVAL_PROBABILITY)
    delay = lane.customs_delay_days
    came = delivery_days(lane.origin, lane.destination, today, days, half, customs_delay_days=delay)[:, -1]
    inside = np.flatnonzero((came >= (reach_from - today).days) & (came < days))
    if inside.size == 0:
        return None
    first, last = (today.toordinal() + int(inside[end]) for end in (0, -1))
    return date.fromordinal(first), date.fromordinal(last)
