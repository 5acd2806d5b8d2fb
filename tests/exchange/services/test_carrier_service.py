"""Carrier services: own, refused with what would be right, and what goes by them follows."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from functools import partial
from typing import Any

import pytest

from exchange.models import CarrierService, Offer, Shipment
from exchange.services.account import account_close
from exchange.services.carrier_service import (
    carrier_service_create,
    carrier_service_remove,
    carrier_service_update,
)
from exchange.services.offer import offer_create, offer_pause
from exchange.services.offer_change import offer_update
from exchange.services.shipment import shipment_change
from growers.errors import Conflict, InvalidInput, NotFound
from growers.models import Change, Grower
from tests.clock import MovableClock
from tests.exchange.parcel import Sending, make_sending
from tests.exchange.refusal import refused
from tests.exchange.society import NOON
from tests.factories import make_offer, make_plant

pytestmark = pytest.mark.django_db

COUNTER: Any = {"name": "counter", "country": "FR", "cut_off": time(16)}


@pytest.fixture
def counter(donor: Grower) -> CarrierService:
    return carrier_service_create(actor=donor, **COUNTER)


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


def changed() -> list[tuple[str, int]]:
    return list(Change.objects.order_by("pk").values_list("kind", "subject_id"))


# --- what is said of one ---


def test_a_service_keeps_what_is_said_of_it_in_order(donor: Grower) -> None:
    carrier_service_create(
        actor=donor,
        **COUNTER,
        weekdays=["saturday", "monday"],
        delivers_on_saturday=True,
        promised_days_home=2,
        promised_days_abroad=9,
        opened_days=[date(2027, 12, 31), date(2027, 8, 15)],
        closed_days=(date(2027, 8, 16),),
    )
    own = CarrierService.objects.get()
    assert (own.grower, own.name, own.country, own.weekdays) == (
        donor,
        "counter",
        "FR",
        ["monday", "saturday"],
    )
    assert (own.delivers_on_saturday, own.cut_off) == (True, time(16))
    assert (own.promised_days_home, own.promised_days_abroad) == (2, 9)
    assert (own.opened_days, own.closed_days) == (["2027-08-15", "2027-12-31"], ["2027-08-16"])


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"name": " "}, "name is missing; allowed: 1 to 60 characters."),
        (
            {"country": "fr"},
            "country is 'fr'; allowed: ISO 3166 codes of two capital letters such as FR.",
        ),
        (
            {"weekdays": ["mon"]},
            "weekdays is 'mon'; allowed: monday, tuesday, wednesday, thursday, friday, saturday, sunday.",
        ),
        ({"cut_off": "16:00"}, "cut_off is '16:00'; allowed: a time of the clock such as 16:00."),
        (
            {"cut_off": time(16, tzinfo=UTC)},
            f"cut_off is {time(16, tzinfo=UTC)!r}; allowed: a time of the clock such as 16:00.",
        ),
        (
            {"promised_days_home": 0},
            "promised_days_home is 0; allowed: whole numbers from 1 to 15.",
        ),
        (
            {"promised_days_abroad": 16},
            "promised_days_abroad is 16; allowed: whole numbers from 1 to 15.",
        ),
        ({"closed_days": ["2027-08-15"]}, "closed_days is '2027-08-15'; allowed: dates."),
        (
            {"opened_days": [datetime(2027, 8, 15, tzinfo=UTC)]},
            "opened_days is 2027-08-15T00:00:00+00:00; allowed: dates.",
        ),
        (
            {"opened_days": [date(2027, 1, 1)] * 61},
            f"opened_days is {repr([date(2027, 1, 1)] * 61)[:60]}… (1647 characters); "
            "allowed: a list of at most 60 dates.",
        ),
        (
            {"opened_days": [date(2027, 8, 15)], "closed_days": [date(2027, 8, 15)]},
            "closed_days is '2027-08-15'; allowed: days that opened_days does not have.",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_what_would_be_right(
    donor: Grower, said: dict[str, Any], sentence: str
) -> None:
    error = refused(lambda: carrier_service_create(actor=donor, **{**COUNTER, **said}), InvalidInput)
    assert error.detail == sentence


def test_a_name_is_given_once(counter: CarrierService, donor: Grower, recipient: Grower) -> None:
    error = refused(lambda: carrier_service_create(actor=donor, **COUNTER), Conflict)
    assert error.detail == "You have a carrier service called counter."
    assert carrier_service_create(actor=recipient, **COUNTER).name == "counter"


def test_others_find_none(counter: CarrierService, outsider: Grower) -> None:
    for call in (carrier_service_update, carrier_service_remove):
        error = refused(partial(call, actor=outsider, service=counter), NotFound)
        assert error.detail == "There is no such carrier service."


def test_a_service_stays_in_its_country(counter: CarrierService, donor: Grower) -> None:
    error = refused(lambda: carrier_service_update(actor=donor, service=counter, country="DE"), Conflict)
    assert error.detail == "A service stays in its country; add another."


# --- what goes by it ---


def test_a_change_has_open_offers_that_go_by_it_reckoned_again(
    counter: CarrierService, donor: Grower
) -> None:
    goes, rests, other = (make_offer(make_plant(donor)) for _ in range(3))
    for offer in (goes, rests):
        offer_update(actor=donor, offer=offer, carrier_service=counter)
    offer_pause(actor=donor, offer=rests)
    Change.objects.all().delete()
    carrier_service_update(actor=donor, service=counter, weekdays=["monday"])
    assert changed() == [("offer", goes.pk)]
    carrier_service_remove(actor=donor, service=counter)
    assert changed() == [("offer", goes.pk)] * 2
    assert set(Offer.objects.values_list("carrier_service", flat=True)) == {None}
    assert other.state == "open"


def test_an_offer_goes_by_a_service_of_its_donor_in_its_country(
    counter: CarrierService, donor: Grower, recipient: Grower
) -> None:
    plant = make_plant(donor)
    new: Any = {"actor": donor, "plant": plant, "treatment": "dried", "doses": 1}
    assert offer_create(**new, carrier_service=counter).carrier_service == counter
    theirs = carrier_service_create(actor=recipient, **COUNTER)
    abroad = carrier_service_create(actor=donor, name="over the border", country="DE")
    change: Any = {"actor": donor, "offer": make_offer(plant)}
    calls: list[Callable[[CarrierService], object]] = [
        lambda service: offer_create(**new, carrier_service=service),
        lambda service: offer_update(**change, carrier_service=service),
    ]
    for call in calls:
        refused(partial(call, theirs), NotFound)
        error = refused(partial(call, abroad), InvalidInput)
        assert error.detail == "carrier_service is 'DE'; allowed: a service in FR."
        assert [each.pointer for each in error.problems] == ["/carrier_service"]
    assert offer_update(**change, carrier_service=counter).carrier_service == counter
    assert offer_update(**change, carrier_service=None).carrier_service is None


def test_a_parcel_goes_as_its_offer_unless_said_otherwise(sending: Sending, recipient: Grower) -> None:
    donor, offer = sending.donor, sending.bargain.offer
    counter = carrier_service_create(actor=donor, **COUNTER, promised_days_abroad=9)
    offer_update(actor=donor, offer=offer, carrier_service=counter)
    shipment = sending.plan()
    assert shipment.carrier_service == counter
    theirs = carrier_service_create(actor=recipient, **COUNTER)
    refused(lambda: shipment_change(actor=donor, shipment=shipment, carrier_service=theirs), NotFound)
    assert shipment_change(actor=donor, shipment=shipment, carrier_service=None).carrier_service is None
    shipment_change(actor=donor, shipment=shipment, carrier_service=counter)
    sending.dispatch(shipment)
    shipment.refresh_from_db()
    assert shipment.promised_days == 9
    error = refused(lambda: shipment_change(actor=donor, shipment=shipment, carrier_service=None), Conflict)
    assert error.detail.startswith("The parcel has been dispatched")
    carrier_service_remove(actor=donor, service=counter)
    left = Shipment.objects.get()
    assert (left.carrier_service, left.promised_days) == (None, 9)


def test_after_the_cut_off_a_parcel_counts_as_posted_on_the_next_open_day(
    sending: Sending, clock: MovableClock
) -> None:
    counter = carrier_service_create(actor=sending.donor, **COUNTER)
    shipment = sending.plan(carrier_service=counter)
    clock.set(datetime(2027, 7, 2, 14, 1, tzinfo=UTC))  # Friday, 16:01 in Paris
    sending.dispatch(shipment)
    shipment.refresh_from_db()
    assert shipment.dispatched_on == date(2027, 7, 5)


def test_who_leaves_leaves_none(counter: CarrierService, donor: Grower) -> None:
    offer = make_offer(make_plant(donor))
    offer_update(actor=donor, offer=offer, carrier_service=counter)
    account_close(actor=donor)
    offer.refresh_from_db()
    assert (offer.state, offer.carrier_service) == ("closed", None)
    assert not CarrierService.objects.exists()
