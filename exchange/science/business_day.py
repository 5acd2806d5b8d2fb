"""Open days of carrier services: which days count, when a parcel is accepted, when it is delivered."""

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import holidays
import numpy as np

from exchange.science.arrays import BoolArray, IntegerArray
from exchange.science.check import check_range
from exchange.science.transit import MAX_BUSINESS_DAYS

COUNTRY_CODE = re.compile("[A-Z]{2}")
MONDAY_TO_FRIDAY = (True, True, True, True, True, False, False)
LONGEST_CLOSURE_DAYS = 366
LONGEST_DELIVERY_DAYS = 4000
SEED_AFTER_LAST_DAYS = 90
MAX_CUSTOMS_DELAY_DAYS = 180
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class ServiceCalendar:
    """Days on which one carrier service works at one end of a route.

    Parameters
    ----------
    open_weekdays : tuple of bool
        Seven values, Monday first; at least one true.
    closed_days : frozenset of date
        Closed in spite of the weekday, e.g. public holidays.
    opened_days : frozenset of date
        Open in spite of weekday and closed days; these win.
    """

    open_weekdays: tuple[bool, ...] = MONDAY_TO_FRIDAY
    closed_days: frozenset[date] = frozenset()
    opened_days: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if len(self.open_weekdays) != 7:
            raise ValueError(f"open_weekdays has {len(self.open_weekdays)} values; allowed: 7, Monday first.")
        if not any(self.open_weekdays):
            raise ValueError("open_weekdays has no open day; allowed: at least one of the seven.")

    def is_open(self, day: date) -> bool:
        """Whether the service works on this local date."""
        if day in self.opened_days:
            return True
        return self.open_weekdays[day.weekday()] and day not in self.closed_days


@lru_cache(maxsize=512)
def _public_days(
    country: str, subdivision: str | None, first_year: int, last_year: int
) -> tuple[frozenset[date], frozenset[date], tuple[bool, ...]]:
    """Public holidays, weekend days worked instead of others, and the week of a country."""
    years = range(first_year, last_year + 1)
    try:
        # The library looks a country up by attribute: without this, names such as HolidayBase pass.
        if not COUNTRY_CODE.fullmatch(country):
            raise NotImplementedError(country)
        known = holidays.country_holidays(country, subdiv=subdivision, years=years, expand=False)
    except NotImplementedError:
        place = country if subdivision is None else f"{country}-{subdivision}"
        raise ValueError(
            f"country is {place!r}; allowed: ISO 3166 codes with known holidays, e.g. DE, DE-BY, TH, US."
        ) from None
    worked = frozenset(day for day in known.weekend_workdays if first_year <= day.year <= last_year)
    week = tuple(weekday not in known.weekend for weekday in range(7))
    return frozenset(known), worked, week


def country_calendar(
    country: str,
    first: date,
    last: date,
    *,
    open_weekdays: tuple[bool, ...] | None = None,
    subdivision: str | None = None,
    opened_days: Collection[date] = (),
    closed_days: Collection[date] = (),
) -> ServiceCalendar:
    """Calendar of a service, seeded with a country's public holidays and corrected by the carrier's own days.

    Parameters
    ----------
    country : str
        ISO 3166-1 code of two letters, e.g. "TH".
    first, last : date
        Span that is asked about; holidays are loaded for whole years, until 90 days after ``last``.
    open_weekdays : tuple of bool, optional
        Monday first; a property of the service. Without it, all days but the country's weekend,
        and the weekend days the country works instead of others.
    subdivision : str, optional
        ISO 3166-2 part of the code, e.g. "BY".
    opened_days, closed_days : collection of date
        The carrier's exceptions; they win over public holidays.

    Returns
    -------
    ServiceCalendar

    Raises
    ------
    ValueError
        If the country is not known, ``last`` is before ``first``, or a day is both opened and closed.

    Notes
    -----
    A public holiday is not always a holiday of the carrier, hence the exceptions.
    """
    if last < first:
        raise ValueError(f"last is {last}; allowed: {first} or later.")
    both = sorted(set(opened_days) & set(closed_days))
    if both:
        raise ValueError(f"closed_days has {both[0]}; allowed: days that opened_days does not have.")
    seeded_until = last + timedelta(days=SEED_AFTER_LAST_DAYS)
    public, worked, week = _public_days(country, subdivision, first.year, seeded_until.year)
    return ServiceCalendar(
        open_weekdays=week if open_weekdays is None else open_weekdays,
        closed_days=(public - frozenset(opened_days)) | frozenset(closed_days),
        opened_days=(frozenset() if open_weekdays else worked - frozenset(closed_days))
        | frozenset(opened_days),
    )


def open_mask(calendar: ServiceCalendar, first: date, days: int) -> BoolArray:
    """Which of the days from ``first`` on are open, shape (days,)."""
    check_range("days", days, 0, 100_000)
    return np.array([calendar.is_open(first + timedelta(days=day)) for day in range(days)], dtype=np.bool_)


def business_day_count(calendar: ServiceCalendar, first: date, end: date) -> int:
    """Open days from ``first`` (counted) to ``end`` (not counted).

    Raises
    ------
    ValueError
        If ``end`` is before ``first``.
    """
    if end < first:
        raise ValueError(f"end is {end}; allowed: {first} or later.")
    return int(open_mask(calendar, first, (end - first).days).sum())


def _nearest_open_day(calendar: ServiceCalendar, day: date, step: timedelta, including: bool) -> date:
    candidate = day if including else day + step
    for _ in range(LONGEST_CLOSURE_DAYS):
        if calendar.is_open(candidate):
            return candidate
        candidate += step
    raise ValueError(f"day is {day}; allowed: at most {LONGEST_CLOSURE_DAYS} days from an open day.")


def next_open_day(calendar: ServiceCalendar, day: date, *, including: bool = True) -> date:
    """First open day from ``day`` on, ``day`` itself counted if ``including``.

    Raises
    ------
    ValueError
        If the service stays closed for a year.
    """
    return _nearest_open_day(calendar, day, ONE_DAY, including)


def previous_open_day(calendar: ServiceCalendar, day: date, *, including: bool = True) -> date:
    """Last open day up to ``day``, ``day`` itself counted if ``including``.

    Raises
    ------
    ValueError
        If the service was closed for a year.
    """
    return _nearest_open_day(calendar, day, -ONE_DAY, including)


def delivery_date(
    origin: ServiceCalendar,
    destination: ServiceCalendar,
    dispatched: date,
    business_days: int,
    *,
    customs_delay_days: int = 0,
) -> date:
    """Local date of delivery of a parcel that takes so many business days.

    Parameters
    ----------
    origin, destination : ServiceCalendar
        The service at the donor's and at the recipient's end.
    dispatched : date
        Donor's local date of handover; on a closed day the next open day of the origin counts.
    business_days : int
        Days, 1 to 260, each open at both ends, the day of dispatch not counted.
    customs_delay_days : int
        Calendar days that customs of this border adds, 0 to 180.

    Returns
    -------
    date
        An open day of the destination, on its calendar.

    Raises
    ------
    ValueError
        If a number is out of its range or the two ends share too few open days.
    """
    check_range("business_days", business_days, 1, 260)
    offsets = delivery_days(
        origin, destination, dispatched, 1, business_days, customs_delay_days=customs_delay_days
    )
    return dispatched + timedelta(days=int(offsets[0, -1]))


def delivery_days(
    origin: ServiceCalendar,
    destination: ServiceCalendar,
    first: date,
    days: int,
    max_business_days: int = MAX_BUSINESS_DAYS,
    *,
    customs_delay_days: int = 0,
) -> IntegerArray:
    """Days of delivery for every dispatch day of a span and every number of business days.

    Parameters
    ----------
    origin, destination : ServiceCalendar
        The service at the donor's and at the recipient's end.
    first : date
        First dispatch day.
    days : int
        Dispatch days, 1 to 1000; one that is closed at the origin counts as the next open one.
    max_business_days : int
        Business days 1 … this, at most 260.
    customs_delay_days : int
        Calendar days that customs of this border adds, 0 to 180.

    Returns
    -------
    IntegerArray
        Days after ``first``, shape (days, max_business_days).

    Raises
    ------
    ValueError
        If a number is out of its range or the two ends share too few open days.
    """
    check_range("days", days, 1, 1000)
    check_range("max_business_days", max_business_days, 1, 260)
    check_range("customs_delay_days", customs_delay_days, 0, MAX_CUSTOMS_DELAY_DAYS)
    span = days + 2 * max_business_days + customs_delay_days + 60
    while span <= days + LONGEST_DELIVERY_DAYS:
        leaving, arriving = open_mask(origin, first, span), open_mask(destination, first, span)
        offsets = _delivery_offsets(leaving, arriving, days, max_business_days, customs_delay_days)
        if offsets is not None:
            return offsets
        span *= 2
    raise ValueError(
        f"max_business_days is {max_business_days}; allowed: days that both ends have open "
        f"within {LONGEST_DELIVERY_DAYS} days."
    )


def _delivery_offsets(
    leaving: BoolArray, arriving: BoolArray, days: int, business_days: int, customs_delay_days: int
) -> IntegerArray | None:
    """Offsets within the given masks; None if the masks are too short."""
    departures, moving, deliveries = map(np.flatnonzero, (leaving, leaving & arriving, arriving))
    first_departure = np.searchsorted(departures, np.arange(days))
    if first_departure[-1] >= departures.size:
        return None
    after = np.searchsorted(moving, departures[first_departure], side="right")
    step = after[:, np.newaxis] + np.arange(business_days)
    if step.max() >= moving.size:
        return None
    delivery = np.searchsorted(deliveries, moving[step] + customs_delay_days)
    if delivery.max() >= deliveries.size:
        return None
    offsets: IntegerArray = deliveries[delivery].astype(np.int64)
    return offsets


def acceptance_date(handover: datetime, zone: str, cut_off: time, calendar: ServiceCalendar) -> date:
    """Local date on which a service accepts a parcel that is handed over at an instant.

    Parameters
    ----------
    handover : datetime
        Instant with its offset.
    zone : str
        IANA time zone of the place of handover.
    cut_off : time
        Local time until which a parcel still leaves the same day (that minute included).
    calendar : ServiceCalendar
        The service at the origin.

    Returns
    -------
    date
        That day, or the next open day after the cut-off or on a closed day.

    Raises
    ------
    ValueError
        If ``handover`` has no offset, ``cut_off`` has one, or the zone is not known.
    """
    if handover.tzinfo is None:
        raise ValueError(f"handover is {handover.isoformat()}; allowed: an instant with its offset from UTC.")
    if cut_off.tzinfo is not None:
        raise ValueError(f"cut_off is {cut_off.isoformat()}; allowed: a local time without offset.")
    local = handover.astimezone(_zone(zone))
    too_late = local.time() > cut_off
    return next_open_day(calendar, local.date(), including=not too_late)


def _zone(zone: str) -> ZoneInfo:
    try:
        return ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        raise ValueError(f"zone is {zone!r}; allowed: an IANA time zone, e.g. Europe/Berlin.") from None


def elapsed_hours(start: datetime, end: datetime) -> float:
    """True hours between two instants, negative if ``end`` is earlier.

    Raises
    ------
    ValueError
        If an instant has no offset.

    Notes
    -----
    Python subtracts two times of one zone by the wall clock, which is an hour wrong when clocks change.
    """
    for name, instant in (("start", start), ("end", end)):
        if instant.tzinfo is None:
            raise ValueError(
                f"{name} is {instant.isoformat()}; allowed: an instant with its offset from UTC."
            )
    return (end.astimezone(UTC) - start.astimezone(UTC)).total_seconds() / 3600.0
