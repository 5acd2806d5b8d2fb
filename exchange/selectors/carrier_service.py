"""Carrier services: on which days and until when they take and bring parcels, and what they promise."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from exchange.models import CarrierService, Offer
from exchange.science import constants
from exchange.science.business_day import ServiceCalendar, acceptance_date, country_calendar
from growers.models import Site

CALENDAR_PAST_DAYS = 30
CALENDAR_AHEAD_DAYS = 800
SATURDAY = 5
WEEK = tuple(CarrierService.Weekday.values)


def promised_days(service: CarrierService | None, *, abroad: bool) -> float:
    """Business days a service promises; the usual ones where it says nothing."""
    usual = constants.PROMISED_DAYS_ABROAD if abroad else constants.PROMISED_DAYS_HOME
    if service is None:
        return usual.value
    return float((service.promised_days_abroad if abroad else service.promised_days_home) or usual.value)


def handover_calendar(
    service: CarrierService | None, country: str, today: date, *, saturday: bool = False
) -> ServiceCalendar:
    """Days on which a service takes parcels, some years round a day; without one, those of the country."""
    if service is None:
        return _calendar(country, today, saturday)
    week = tuple(day in service.weekdays for day in WEEK) if service.weekdays else None
    opened, closed = _days(service.opened_days), _days(service.closed_days)
    return _calendar(service.country, today, saturday, week, opened, closed)


def delivery_calendar(
    service: CarrierService | None, country: str, today: date, *, saturday: bool = False
) -> ServiceCalendar:
    """Days on which parcels of a service are brought in a country, some years round a day."""
    return _calendar(country, today, saturday or (service is not None and service.delivers_on_saturday))


def _days(days: Iterable[str]) -> frozenset[date]:
    return frozenset(map(date.fromisoformat, days))


@lru_cache(maxsize=512)
def _calendar(
    country: str,
    today: date,
    saturday: bool,
    week: tuple[bool, ...] | None = None,
    opened: frozenset[date] = frozenset(),
    closed: frozenset[date] = frozenset(),
) -> ServiceCalendar:
    usual = country_calendar(
        country,
        today - timedelta(days=CALENDAR_PAST_DAYS),
        today + timedelta(days=CALENDAR_AHEAD_DAYS),
        open_weekdays=week,
        opened_days=opened,
        closed_days=closed,
    )
    if not saturday:
        return usual
    open_week = tuple(is_open or day == SATURDAY for day, is_open in enumerate(usual.open_weekdays))
    return replace(usual, open_weekdays=open_week)


def accepted_on(service: CarrierService | None, site: Site, at: datetime, *, saturday: bool = False) -> date:
    """The local day a parcel handed over at an instant counts for: after the cut-off the next open one."""
    local = at.astimezone(ZoneInfo(site.cell_zone))
    if service is None or service.cut_off is None:
        return local.date()
    calendar = handover_calendar(service, site.cell_country, local.date(), saturday=saturday)
    return acceptance_date(at, site.cell_zone, service.cut_off, calendar)


def hand_over_until(service: CarrierService | None, zone: str, day: date) -> datetime:
    """The instant at which a day of handing over ends: its cut-off, or the first instant of the next day."""
    cut_off = service.cut_off if service is not None else None
    ends = (day, cut_off) if cut_off else (day + timedelta(days=1), time())
    return datetime.combine(*ends, ZoneInfo(zone)).astimezone(UTC)


def offer_calendar(offer: Offer, today: date) -> ServiceCalendar:
    """Days on which the donor of an offer can hand over its parcels; its plant's site is loaded."""
    country = offer.plant.site.cell_country
    return handover_calendar(offer.carrier_service, country, today, saturday=offer.posts_on_saturday)
