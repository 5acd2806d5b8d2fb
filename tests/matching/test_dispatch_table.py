"""Dispatch dates worked out by hand: from the flower to the handover, and from there to the seed parent.

Weekdays and holidays of the comments are those of a printed calendar; no date here was taken from the code.
"""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from exchange.matching import posting
from exchange.matching.arrival import journey
from exchange.matching.readiness import donor_clock, posting_days, ready_chance
from exchange.matching.side import Lane
from exchange.science.business_day import (
    ServiceCalendar,
    acceptance_date,
    country_calendar,
    delivery_date,
)
from tests.matching.instance import bloom, lane, offer, parent, wanted, window

CUT_OFF = time(16)
ZONES = {
    "AU": "Australia/Sydney",
    "CN": "Asia/Shanghai",
    "DE": "Europe/Berlin",
    "FR": "Europe/Paris",
    "GB": "Europe/London",
    "JP": "Asia/Tokyo",
    "NZ": "Pacific/Auckland",
    "SA": "Asia/Riyadh",
    "TH": "Asia/Bangkok",
    "US": "America/New_York",
}
HONOLULU = "Pacific/Honolulu"


def calendar(country: str, near: date, *, saturday: bool = False) -> ServiceCalendar:
    """The service of a country, with Saturday if it has it."""
    usual = country_calendar(country, near - timedelta(days=30), near + timedelta(days=400))
    week = tuple(is_open or day == 5 for day, is_open in enumerate(usual.open_weekdays))
    return ServiceCalendar(week, usual.closed_days, usual.opened_days) if saturday else usual


# --- from the handover to the first flower that can be pollinated ---


@dataclass(frozen=True)
class Sent:
    """A parcel handed over at an instant (UTC), and the local dates on which it counts."""

    what: str
    handed_over: str
    way: str
    accepted: str
    delivered: str
    usable: str
    business_days: int = 1
    customs: int = 0
    saturday: bool = False
    night: bool = False
    before_opening: bool = False
    zone: str = ""

    @property
    def at(self) -> datetime:
        return datetime.fromisoformat(f"{self.handed_over}+00:00")

    @property
    def lane(self) -> Lane:
        ends = (calendar(country, self.at.date(), saturday=self.saturday) for country in self.way.split(">"))
        origin, destination = ends
        return lane(
            origin=origin,
            destination=destination,
            customs_delay_days=self.customs,
            delivery_before_opening=self.before_opening,
        )


SENT = [
    # Monday 7 June 2027; Paris is two hours ahead of UTC.
    Sent("a plain Monday", "2027-06-07T08:00", "FR>FR", "2027-06-07", "2027-06-08", "2027-06-09"),
    Sent("the minute of the cut-off", "2027-06-07T14:00", "FR>FR", "2027-06-07", "2027-06-08", "2027-06-09"),
    Sent("a minute later", "2027-06-07T14:01", "FR>FR", "2027-06-08", "2027-06-09", "2027-06-10"),
    Sent("Friday in time", "2027-06-11T08:00", "FR>FR", "2027-06-11", "2027-06-14", "2027-06-15"),
    Sent("Friday too late", "2027-06-11T14:30", "FR>FR", "2027-06-14", "2027-06-15", "2027-06-16"),
    Sent("Saturday, closed", "2027-06-12T08:00", "FR>FR", "2027-06-14", "2027-06-15", "2027-06-16"),
    # The seed parent: a night bloomer opens on the evening of that day; a day bloomer the next morning.
    Sent(
        "a night bloomer", "2027-06-07T08:00", "FR>FR", "2027-06-07", "2027-06-08", "2027-06-08", night=True
    ),
    Sent(
        "delivered before it opens",
        "2027-06-07T08:00",
        "FR>FR",
        "2027-06-07",
        "2027-06-08",
        "2027-06-08",
        before_opening=True,
    ),
    # Saturday service.
    Sent(
        "posted on Saturday",
        "2027-06-12T08:00",
        "FR>FR",
        "2027-06-12",
        "2027-06-14",
        "2027-06-15",
        saturday=True,
    ),
    Sent(
        "brought on Saturday",
        "2027-06-11T08:00",
        "FR>FR",
        "2027-06-11",
        "2027-06-12",
        "2027-06-13",
        saturday=True,
    ),
    # Summer time begins in Europe on 28 March 2027: 15:00 UTC is 16:00 before, 17:00 after. Easter Monday
    # is the 29th.
    Sent("before summer time", "2027-03-26T15:00", "FR>FR", "2027-03-26", "2027-03-30", "2027-03-31"),
    Sent("in summer time", "2027-03-30T15:00", "FR>FR", "2027-03-31", "2027-04-01", "2027-04-02"),
    # It ends on 31 October: 14:30 UTC is 16:30 before, 15:30 after. All Saints' is Monday 1 November.
    Sent("still summer time", "2027-10-29T14:30", "FR>FR", "2027-11-02", "2027-11-03", "2027-11-04"),
    Sent("summer time over", "2027-11-03T14:30", "FR>FR", "2027-11-03", "2027-11-04", "2027-11-05"),
    # In New York it begins two weeks before Europe, on 14 March: 21:00 UTC is 16:00, 20:30 then 16:30.
    Sent("New York in winter", "2027-03-12T21:00", "US>US", "2027-03-12", "2027-03-15", "2027-03-16"),
    Sent("New York in summer", "2027-03-15T20:30", "US>US", "2027-03-16", "2027-03-17", "2027-03-18"),
    # In Auckland it ends on 4 April: 02:30 UTC is 15:30, 04:30 UTC after that 16:30.
    Sent("Auckland in summer", "2027-04-02T02:30", "NZ>NZ", "2027-04-02", "2027-04-05", "2027-04-06"),
    Sent("Auckland in winter", "2027-04-05T04:30", "NZ>NZ", "2027-04-06", "2027-04-07", "2027-04-08"),
    # The date line: 22:00 UTC on Thursday is Friday 10:00 in Auckland. Monday 5 July is closed in the
    # States, so Tuesday, and two days of customs Thursday.
    Sent(
        "eastward over the date line",
        "2027-07-01T22:00",
        "NZ>US",
        "2027-07-02",
        "2027-07-08",
        "2027-07-09",
        customs=2,
    ),
    # 01:30 UTC on Saturday is Friday 15:30 in Honolulu; Monday is closed there, Tuesday and two is Thursday.
    Sent(
        "westward over the date line",
        "2027-07-03T01:30",
        "US>NZ",
        "2027-07-02",
        "2027-07-08",
        "2027-07-08",
        customs=2,
        night=True,
        zone=HONOLULU,
    ),
    # Half an hour later it is past the cut-off: Monday 5 July closed, Tuesday; then Wednesday and two.
    Sent(
        "westward and too late",
        "2027-07-03T02:01",
        "US>NZ",
        "2027-07-06",
        "2027-07-09",
        "2027-07-10",
        customs=2,
        zone=HONOLULU,
    ),
    # 14 July is a holiday of France alone.
    Sent("holiday where it starts", "2027-07-13T08:00", "FR>DE", "2027-07-13", "2027-07-15", "2027-07-16"),
    Sent("holiday where it ends", "2027-07-13T08:00", "DE>FR", "2027-07-13", "2027-07-15", "2027-07-16"),
    Sent("holiday at neither end", "2027-07-13T08:00", "DE>GB", "2027-07-13", "2027-07-14", "2027-07-15"),
    Sent("posted on a holiday", "2027-07-14T08:00", "FR>FR", "2027-07-15", "2027-07-16", "2027-07-17"),
    # Thursday 15 July and two days are Saturday: Monday 19.
    Sent(
        "customs end on a Saturday",
        "2027-07-13T08:00",
        "FR>DE",
        "2027-07-13",
        "2027-07-19",
        "2027-07-20",
        customs=2,
    ),
    # Monday 12 July and two days are the holiday: Thursday 15.
    Sent(
        "customs end on a holiday",
        "2027-07-09T08:00",
        "DE>FR",
        "2027-07-09",
        "2027-07-15",
        "2027-07-16",
        customs=2,
    ),
    # Friday 14 May and two days are Whit Sunday, Monday is closed at both ends: Tuesday 18.
    Sent(
        "customs end before Whit Monday",
        "2027-05-13T08:00",
        "DE>FR",
        "2027-05-13",
        "2027-05-18",
        "2027-05-19",
        customs=2,
    ),
    # 2028 is a leap year; 28 February is a Monday. 2027 is none; 26 February is a Friday.
    Sent("brought on 29 February", "2028-02-28T08:00", "FR>FR", "2028-02-28", "2028-02-29", "2028-03-01"),
    Sent("posted on 29 February", "2028-02-29T08:00", "FR>FR", "2028-02-29", "2028-03-01", "2028-03-02"),
    Sent("no 29 February", "2027-02-26T08:00", "FR>FR", "2027-02-26", "2027-03-01", "2027-03-02"),
    # Friday and Saturday are the weekend; 1 July is a Thursday. Riyadh is three hours ahead.
    Sent("over a Gulf weekend", "2027-07-01T08:00", "SA>SA", "2027-07-01", "2027-07-04", "2027-07-05"),
    Sent("posted on a Gulf Friday", "2027-07-02T08:00", "SA>SA", "2027-07-04", "2027-07-05", "2027-07-06"),
    Sent(
        "Saturday service in the Gulf",
        "2027-07-01T08:00",
        "SA>SA",
        "2027-07-01",
        "2027-07-03",
        "2027-07-04",
        saturday=True,
    ),
    # Open at both ends from Monday to Thursday only: Monday 5 and two days.
    Sent("out of the Gulf", "2027-07-01T08:00", "SA>DE", "2027-07-01", "2027-07-07", "2027-07-08", customs=2),
    # The fourth is Thursday 8, two days are Saturday: Sunday 11 is open there.
    Sent(
        "into the Gulf",
        "2027-07-01T08:00",
        "DE>SA",
        "2027-07-01",
        "2027-07-11",
        "2027-07-12",
        customs=2,
        business_days=4,
    ),
    # Golden Week: 29 April, 3, 4 and 5 May 2027 are closed; 30 April is an open Friday. Tokyo is at +9.
    Sent("into Golden Week", "2027-04-30T01:00", "JP>JP", "2027-04-30", "2027-05-06", "2027-05-07"),
    Sent(
        "too late before Golden Week", "2027-04-28T08:00", "JP>JP", "2027-04-30", "2027-05-06", "2027-05-07"
    ),
    # Songkran: 13 to 15 April; Friday 16 is the first day, Monday 19 the second.
    Sent(
        "over Songkran",
        "2027-04-12T03:00",
        "TH>TH",
        "2027-04-12",
        "2027-04-19",
        "2027-04-20",
        business_days=2,
    ),
    # Spring festival: 5 to 10 February 2027, Friday to Wednesday.
    Sent("over the spring festival", "2027-02-04T02:00", "CN>CN", "2027-02-04", "2027-02-11", "2027-02-12"),
    # Year's end: Thursday 31 December 2026, a holiday, a weekend; in New Zealand Monday is closed too.
    Sent("over New Year", "2026-12-31T09:00", "FR>FR", "2026-12-31", "2027-01-04", "2027-01-05"),
    Sent("over New Year in the south", "2026-12-30T22:00", "NZ>NZ", "2026-12-31", "2027-01-05", "2027-01-06"),
    # Christmas Day and the day after fall on a weekend and are given on Monday and Tuesday.
    Sent("over Christmas", "2027-12-24T10:00", "GB>GB", "2027-12-24", "2027-12-29", "2027-12-30"),
    # 2, 5–9, 12, 13, 15, 16, 19–23 July: fifteen days without the 14th.
    Sent(
        "fifteen business days",
        "2027-07-01T08:00",
        "FR>FR",
        "2027-07-01",
        "2027-07-23",
        "2027-07-24",
        business_days=15,
    ),
]


@pytest.mark.parametrize("sent", SENT, ids=[sent.what for sent in SENT])
def test_a_parcel_is_accepted_delivered_and_of_use_on_these_dates(sent: Sent) -> None:
    way, zone = sent.lane, sent.zone or ZONES[sent.way[:2]]
    accepted = acceptance_date(sent.at, zone, CUT_OFF, way.origin)
    assert str(accepted) == sent.accepted
    delivered = delivery_date(
        way.origin, way.destination, accepted, sent.business_days, customs_delay_days=sent.customs
    )
    assert str(delivered) == sent.delivered
    went = journey(way, accepted, 1, night_opening=sent.night)
    step = sent.business_days - 1
    assert str(accepted + timedelta(days=int(went.parcel_days[0, step]))) == sent.delivered
    assert str(accepted + timedelta(days=int(went.usable_day[0, step]))) == sent.usable


# --- from the flower to the first day on which its pollen can be posted ---


@dataclass(frozen=True)
class Opened:
    """A flower that opens at an instant (UTC), and the first date on which its pollen can be posted."""

    what: str
    opens: str
    country: str
    posted: str
    diel: str = "day"
    treatment: str = "fresh"
    in_time: bool = True
    saturday: bool = False
    zone: str = ""
    flower: dict[str, Any] = field(default_factory=dict)

    @property
    def on(self) -> date:
        """The local date on which it opens, at dusk or in the morning."""
        at = datetime.fromisoformat(f"{self.opens}+00:00")
        return at.astimezone(ZoneInfo(self.zone or ZONES[self.country])).date()


NIGHT: dict[str, Any] = {"diel": "night"}
OPENED = [
    # It opens on Monday 7 June 2027 and sheds on its second and third day.
    Opened("shed before the cut-off", "2027-06-07T06:00", "FR", "2027-06-08"),
    Opened("shed after the cut-off", "2027-06-07T06:00", "FR", "2027-06-09", in_time=False),
    Opened("dried for a day", "2027-06-07T06:00", "FR", "2027-06-09", treatment="dried"),
    Opened("late and dried", "2027-06-07T06:00", "FR", "2027-06-10", treatment="dried", in_time=False),
    Opened(
        "shed on its first day, seen too late",
        "2027-06-07T06:00",
        "FR",
        "2027-06-08",
        flower={"pollen_first_day": 1, "pollen_last_day": 1},
    ),
    # At dusk: 22:20 in Paris. It sheds on the second night and goes on the date after.
    Opened("a night bloomer", "2027-06-07T20:20", "FR", "2027-06-09", **NIGHT),
    Opened("a night bloomer, dried", "2027-06-07T20:20", "FR", "2027-06-10", **NIGHT, treatment="dried"),
    # From Thursday: the night of Friday, so Saturday, which is closed.
    Opened("a night bloomer before a weekend", "2027-06-10T20:20", "FR", "2027-06-14", **NIGHT),
    Opened("with Saturday service", "2027-06-10T20:20", "FR", "2027-06-12", **NIGHT, saturday=True),
    # Dusk of Monday 7 June is 05:30 UTC of Tuesday in Honolulu, and of Monday in Auckland.
    Opened("dusk west of the date line", "2027-06-07T05:30", "NZ", "2027-06-09", **NIGHT),
    Opened("dusk east of the date line", "2027-06-08T05:30", "US", "2027-06-09", **NIGHT, zone=HONOLULU),
    # From Wednesday 30 June: the night of Thursday; Friday and Saturday are the weekend.
    Opened("before a Gulf weekend", "2027-06-30T15:50", "SA", "2027-07-04", **NIGHT),
    Opened("in a Gulf week", "2027-06-29T15:50", "SA", "2027-07-01", **NIGHT),
    # From Sunday 27 February 2028: shed on Monday, dry on Tuesday.
    Opened("posted on 29 February", "2028-02-27T14:00", "US", "2028-02-29", treatment="dried"),
    # From Saturday 1 May: shed on Sunday and Monday; the post opens on Thursday 6.
    Opened("in Golden Week", "2027-05-01T00:00", "JP", "2027-05-06"),
    # From Saturday 30 October: the night of Sunday, when summer time ends; Monday is All Saints'.
    Opened("the night of the clocks", "2027-10-30T17:00", "FR", "2027-11-02", **NIGHT),
    Opened("the last of the year", "2026-12-30T08:00", "FR", "2026-12-31"),
    Opened("too late for the old year", "2026-12-31T08:00", "FR", "2027-01-04"),
]


@pytest.mark.parametrize("opened", OPENED, ids=[opened.what for opened in OPENED])
def test_the_pollen_of_a_flower_can_be_posted_from_this_date(opened: Opened) -> None:
    given = offer(
        parent=parent(diel=opened.diel, **opened.flower),
        treatment=opened.treatment,
        bloom=bloom(window(0, 9)),
    )
    way = lane(
        origin=calendar(opened.country, opened.on, saturday=opened.saturday),
        collected_before_cut_off=opened.in_time,
    )
    clock, ahead = donor_clock(given, way), 20
    days = posting_days(way, opened.on, ahead)
    lead = clock.lag_days + clock.shedding_days + days.longest_gap
    rate = np.zeros((1, lead + ahead))
    rate[0, lead] = 50.0  # that a flower opens on this day, and on no other, is as good as sure
    ready = ready_chance(rate, lead, clock, days).sum(axis=1)
    first = int(np.flatnonzero(ready > 0.99)[0])
    assert str(opened.on + timedelta(days=first)) == opened.posted
    assert not ready[:first].any()


# --- a plant that flowers all the year is posted from on every open day ---

ALL_YEAR = [
    ("FR", "2026-12-28", ["12-28", "12-29", "12-30", "12-31", "01-04", "01-05"]),
    ("JP", "2027-04-28", ["04-28", "04-30", "05-06", "05-07", "05-10", "05-11"]),
    ("SA", "2027-07-01", ["07-01", "07-04", "07-05", "07-06", "07-07", "07-08"]),
    ("NZ", "2028-02-25", ["02-25", "02-28", "02-29", "03-01", "03-02", "03-03"]),
]


@pytest.mark.parametrize(("country", "today", "expected"), ALL_YEAR)
def test_an_all_year_bloomer_is_posted_on_every_open_day(
    country: str, today: str, expected: list[str]
) -> None:
    on = date.fromisoformat(today)
    always = bloom(window(0.0, 365.0, start_sd=0.0, end_sd=0.0, all_year=True, crowns=40))
    given, taker, way = offer(bloom=always), wanted(bloom=always), lane(origin=calendar(country, on))
    flowers = posting.recipient_flowers(always, on)
    assert flowers is not None
    course = posting.course(given, taker, way, on, flowers)
    found = [on + timedelta(days=int(day)) for day in np.flatnonzero(course.candidate)]
    assert [f"{day:%m-%d}" for day in found[:6]] == expected
