"""Parcels of which nothing was heard: the consignee is asked on two evenings, once each."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from exchange.selectors.notification import notification_for, notifications_of
from exchange.services.due import run_due
from exchange.services.shipment import (
    shipment_hold,
    shipment_lost,
    shipment_refused,
    shipment_returned,
)
from growers import clock as project_clock
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.parcel import Sending, make_sending
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

HALF_EVENING = datetime(2027, 7, 12, 16, tzinfo=UTC)
LATE_EVENING = datetime(2027, 7, 14, 16, tzinfo=UTC)
"""18 h in Germany in summer."""


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


def told(grower: Grower) -> list[str]:
    return [notification_for(row).detail for row in notifications_of(grower)]


def asked(sending: Sending) -> list[Any]:
    events = sending.agreement.events.filter(kind="has_it_come").order_by("pk")
    return [event.parameters["day"] for event in events]


def test_the_consignee_is_asked_on_both_evenings_once_each(sending: Sending, clock: MovableClock) -> None:
    sending.dispatch()
    expected: list[str] = []
    for evening, day in ((HALF_EVENING, "2027-07-12"), (LATE_EVENING, "2027-07-14")):
        clock.set(evening - timedelta(minutes=1))
        run_due(project_clock.now(), 50)
        assert asked(sending) == expected
        clock.set(evening)
        for _ in range(2):
            run_due(project_clock.now(), 50)
        expected.append(day)
        assert asked(sending) == expected
    clock.move(days=30)
    run_due(project_clock.now(), 50)
    sentence = (
        "Has the parcel with 'Ferry' come? Parcels on this way take their time; say so when it does, and"
        " leave it closed until it is as warm as the room."
    )
    assert told(sending.recipient).count(sentence) == 2
    assert sentence not in told(sending.donor)


def test_who_looks_late_asks_once(sending: Sending, clock: MovableClock) -> None:
    sending.dispatch()
    clock.set(LATE_EVENING + timedelta(days=1))
    for _ in range(2):
        run_due(project_clock.now(), 50)
    assert asked(sending) == ["2027-07-14"]


ENDS: list[Any] = [
    lambda sending, shipment: sending.receive(shipment),
    lambda sending, shipment: shipment_lost(actor=sending.donor, shipment=shipment),
    lambda sending, shipment: shipment_refused(actor=sending.donor, shipment=shipment),
    lambda sending, shipment: shipment_returned(actor=sending.donor, shipment=shipment),
]


@pytest.mark.parametrize("end", ENDS, ids=["received", "lost", "refused", "returned"])
def test_nobody_is_asked_after_its_end(sending: Sending, clock: MovableClock, end: Any) -> None:
    end(sending, sending.dispatch())
    clock.set(LATE_EVENING + timedelta(days=1))
    run_due(project_clock.now(), 50)
    assert asked(sending) == []


def test_a_held_parcel_is_asked_for_too(sending: Sending, clock: MovableClock) -> None:
    shipment_hold(actor=sending.donor, shipment=sending.dispatch())
    clock.set(HALF_EVENING)
    run_due(project_clock.now(), 50)
    assert asked(sending) == ["2027-07-12"]
