"""Parcels as their growers read them: days on the calendars of both ends, and who may know of one."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import holidays
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Agreement, Shipment
from exchange.selectors.lane_seen import LanesSeen, lanes_seen
from exchange.selectors.shipment import (
    business_days_taken,
    expected_days,
    shipment_for,
    shipments_known,
)
from exchange.services.block import block_create
from exchange.services.shipment import shipment_plan
from growers.models import Grower
from growers.services.site import SiteFields
from tests.clock import MovableClock
from tests.exchange.bargain import agree
from tests.exchange.parcel import Sending, make_sending
from tests.exchange.society import NOON, TODAY, make_pairing
from tests.factories import make_offer, make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db

UNSEEN = LanesSeen({})
PLACES: dict[str, SiteFields] = {
    "FR": {"country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35},
    "DE": {"country": "DE", "latitude_deg": 48.25, "longitude_deg": 11.75},
    "NZ": {"country": "NZ", "latitude_deg": -36.85, "longitude_deg": 174.75},
    "US": {"country": "US", "latitude_deg": 34.05, "longitude_deg": -118.25},
    "SA": {"country": "SA", "latitude_deg": 24.7, "longitude_deg": 46.7},
}
WEEKENDS = {"SA": (4, 5)}


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


# --- business days taken ---


def parcel(donor: Grower, recipient: Grower, way: str, sent_at: datetime) -> Shipment:
    """A parcel of an agreement between two of the places, posted at an instant."""
    origin, destination = way.split(">")
    given, seed = (
        make_plant(grower, site=make_site(grower, name=name, **PLACES[name]))  # type: ignore[misc]
        for grower, name in ((donor, origin), (recipient, destination))
    )
    pairing = make_pairing(make_offer(given, countries=[destination]), make_wanted_cross(seed))
    return Shipment.objects.create(
        agreement=agree(pairing, doses=1),
        packing="cold_box",
        origin_country=origin,
        destination_country=destination,
        state="dispatched",
        dispatched_at=sent_at,
    )


def is_open(country: str, day: date) -> bool:
    """A calendar of its own: the weekend, and the holidays as the library lists them."""
    closed = day in holidays.country_holidays(country, years=day.year)
    return day.weekday() not in WEEKENDS.get(country, (5, 6)) and not closed


def first_due(way: str, sent_on: date, days: int) -> date:
    """The day on which a parcel that takes so many business days is delivered, day by day."""
    origin, destination = way.split(">")
    day = sent_on
    while not is_open(origin, day):
        day += timedelta(days=1)
    while days > 0:
        day += timedelta(days=1)
        days -= is_open(origin, day) and is_open(destination, day)
    day += timedelta(days=2 if origin != destination else 0)
    while not is_open(destination, day):
        day += timedelta(days=1)
    return day


TAKEN = [
    # way, posted, came, business days
    ("FR>FR", "2027-07-01T10", "2027-07-02T08", 1),  # Thursday, Friday
    ("FR>FR", "2027-07-02T10", "2027-07-05T08", 1),  # over a weekend
    ("FR>FR", "2027-07-02T10", "2027-07-04T08", 1),  # brought on a Sunday: before the next open day
    ("FR>FR", "2027-07-13T10", "2027-07-15T08", 1),  # the 14th is a holiday
    ("FR>FR", "2027-07-03T10", "2027-07-06T08", 1),  # put in on a Saturday: Monday counts as posted
    ("FR>FR", "2027-07-01T10", "2027-07-01T15", 1),  # the same day is not less than one
    ("FR>FR", "2027-07-01T10", "2027-07-22T08", 14),
    ("FR>FR", "2027-07-01T10", "2027-07-23T08", 15),
    ("FR>FR", "2027-07-01T10", "2027-09-01T08", 15),  # and no more than that
    ("FR>DE", "2027-07-01T10", "2027-07-05T08", 1),  # Friday, two days of customs are Sunday: Monday
    ("FR>DE", "2027-07-01T10", "2027-07-06T08", 2),  # not yet due on the second, Wednesday: not late
    ("FR>DE", "2027-07-01T10", "2027-07-07T08", 2),
    ("FR>DE", "2027-07-01T10", "2027-07-08T08", 3),
    ("FR>DE", "2027-07-12T10", "2027-07-15T08", 1),
    (
        "FR>DE",
        "2027-07-12T10",
        "2027-07-19T08",
        2,
    ),  # the 14th is none of France: 15th, Saturday, Monday
    ("SA>SA", "2027-07-01T09", "2027-07-04T08", 1),  # Thursday; Friday and Saturday are the weekend
    ("NZ>US", "2027-07-01T23", "2027-07-06T20", 1),  # Friday 2nd there; 5th closed in the States
    ("US>NZ", "2027-07-06T20", "2027-07-08T22", 1),  # Tuesday; Wednesday and two is Friday there
    ("US>NZ", "2027-07-06T20", "2027-07-09T22", 2),  # Saturday there: due again on Monday
]


@pytest.mark.parametrize(("way", "posted", "came", "expected"), TAKEN)
def test_business_days_are_the_fewest_that_bring_it_no_earlier(
    donor: Grower,
    recipient: Grower,
    clock: MovableClock,
    way: str,
    posted: str,
    came: str,
    expected: int,
) -> None:
    clock.set(NOON)
    sent_at, came_at = (datetime.fromisoformat(f"{each}:00+00:00") for each in (posted, came))
    shipment = parcel(donor, recipient, way, sent_at)
    assert business_days_taken(shipment, came_at) == expected
    here, there = (
        plant.site.cell_zone
        for plant in (shipment.agreement.offer.plant, shipment.agreement.wanted_cross.seed_parent)
    )
    sent_on, came_on = (
        at.astimezone(ZoneInfo(zone)).date() for at, zone in ((sent_at, here), (came_at, there))
    )
    by_hand = next((k for k in range(1, 15) if first_due(way, sent_on, k) >= came_on), 15)
    assert by_hand == expected


def test_days_of_the_date_line_are_those_of_each_end(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    # Noon of 1 July in London is midnight of the 2nd in Auckland.
    shipment = parcel(donor, recipient, "NZ>US", NOON + timedelta(hours=1))
    assert expected_days(shipment, NOON + timedelta(hours=1), UNSEEN).dispatched_on == date(2027, 7, 2)
    assert expected_days(shipment, NOON - timedelta(hours=1), UNSEEN).dispatched_on == TODAY


# --- what is read ---


def shown(sending: Sending, viewer: Grower, seen: LanesSeen = UNSEEN) -> Any:
    return shipment_for(viewer, shipments_known(viewer).get(), seen)


def test_a_planned_parcel_is_reckoned_as_if_posted_now(sending: Sending, clock: MovableClock) -> None:
    made = sending.plan(contents=["ice_pack"])
    found = shown(sending, sending.donor)
    assert (found.public_id, found.role, found.state) == (made.public_id, "consignor", "planned")
    assert isinstance(found.agreement_id, UUID)
    assert found.packets == (sending.packet.public_id,)
    assert (found.dispatched_at, found.condition, found.business_days) == (None, None, None)
    assert [str(day) for day in (found.half_on, found.late_on)] == ["2027-07-12", "2027-07-14"]
    assert found.lost_chance == 0.01
    assert [told["code"] for told in found.contents] == ["ice_pack"]
    assert shown(sending, sending.recipient).role == "consignee"
    clock.move(days=1)
    assert str(shown(sending, sending.donor).half_on) == first_due("FR>DE", date(2027, 7, 2), 5).isoformat()


def test_packing_says_how_long_it_stays_cold(sending: Sending) -> None:
    sending.plan()
    # Half a kilogram of ice in a litre of polystyrene, the July of the warmer end and five degrees.
    cold = shown(sending, sending.donor).hours_cold
    Shipment.objects.update(packing="envelope")
    assert 12.0 < cold < 36.0
    assert shown(sending, sending.donor).hours_cold == 0.0


def test_what_was_said_at_dispatch_stays(sending: Sending, clock: MovableClock) -> None:
    sending.dispatch()
    before = shown(sending, sending.recipient)
    clock.move(days=9)
    after = shown(sending, sending.recipient, lanes_seen(TODAY + timedelta(days=9)))
    assert (after.half_on, after.late_on) == (before.half_on, before.late_on)
    assert after.lost_chance > before.lost_chance


def test_it_shows_nothing_of_the_offer_changed(sending: Sending) -> None:
    """The lane is that of the parcel's own packing and service; the offer of the row stays as it is."""
    sending.plan(packing="envelope", posts_on_saturday=True)
    row = shipments_known(sending.donor).get()
    shipment_for(sending.donor, row, UNSEEN)
    offer = row.agreement.offer
    assert (offer.packing, offer.posts_on_saturday) == ("cold_box", False)


def test_saturday_service_brings_it_sooner(sending: Sending) -> None:
    sending.plan(posts_on_saturday=True)
    # Friday 2, Saturday 3, Monday 5, Tuesday 6, Wednesday 7 July are five; customs make it Friday 9.
    assert str(shown(sending, sending.donor).half_on) == "2027-07-09"


def test_reading_a_row_costs_no_query(sending: Sending) -> None:
    sending.plan()
    (row,) = shipments_known(sending.donor)
    with CaptureQueriesContext(connection) as queries:
        shipment_for(sending.donor, row, UNSEEN)
    assert len(queries) == 0


def test_others_and_who_is_blocked_know_of_none(sending: Sending, outsider: Grower) -> None:
    shipment_plan(actor=sending.donor, agreement=sending.agreement)
    growers = (sending.donor, sending.recipient, outsider)
    assert [shipments_known(grower).count() for grower in growers] == [1, 1, 0]
    agreement = Agreement.objects.get(pk=sending.agreement.pk)
    block_create(actor=sending.recipient, blocked=agreement.donor)
    assert shipments_known(sending.recipient).count() == 0
