"""When a parcel had best be handed over: the dates of the pairing that stands, until it is dispatched."""

from datetime import UTC, date, datetime, time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import CarrierService, Pairing, Shipment
from exchange.selectors.parcel_plan import ParcelPlan, parcel_plans
from exchange.selectors.shipment import shipments_known
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.parcel import Sending, make_sending
from tests.exchange.plan import stands
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    made = make_sending(donor, recipient)
    stands(made.bargain.pairing, precision="clock")
    made.plan()
    return made


def plan_of(sending: Sending) -> ParcelPlan | None:
    rows = list(shipments_known(sending.donor))
    return parcel_plans(rows).get(rows[0].pk)


def test_it_names_the_days_what_decides_them_and_the_flowers(sending: Sending) -> None:
    assert plan_of(sending) == ParcelPlan(
        precision="clock",
        post_on=date(2027, 7, 8),
        not_later_than=date(2027, 7, 15),
        # Midnight in Paris.
        hand_over_until=datetime(2027, 7, 15, 22, tzinfo=UTC),
        decided_by={"code": "transit", "detail": "the post, if it is slow", "parameters": {}},
        flowers_from=date(2027, 7, 10),
        flowers_until=date(2027, 7, 13),
    )


@pytest.mark.parametrize(
    ("precision", "until"),
    [("clock", datetime(2027, 7, 15, 13, 30, tzinfo=UTC)), ("days", datetime(2027, 7, 15, 22, tzinfo=UTC))],
)
def test_with_pollen_in_hand_the_last_good_day_ends_at_the_cut_off_of_its_service(
    sending: Sending, precision: str, until: datetime
) -> None:
    stands(sending.bargain.pairing, precision=precision)
    counter = CarrierService.objects.create(grower=sending.donor, country="FR", cut_off=time(15, 30))
    Shipment.objects.update(carrier_service=counter)
    found = plan_of(sending)
    assert found is not None
    assert found.hand_over_until == until


def test_without_a_deadline_nothing_decides_it(sending: Sending) -> None:
    stands(sending.bargain.pairing, not_later_than=None)
    found = plan_of(sending)
    assert found is not None
    assert (found.post_on, found.not_later_than) == (date(2027, 7, 8), None)
    assert (found.hand_over_until, found.decided_by) == (None, None)


def test_there_is_none_once_it_is_sent_or_where_nothing_stands(sending: Sending) -> None:
    Pairing.objects.update(state=Pairing.State.SUPERSEDED)
    assert plan_of(sending) is None
    Pairing.objects.update(state=Pairing.State.SUGGESTED)
    sending.dispatch(Shipment.objects.get())
    assert plan_of(sending) is None


def test_all_of_a_page_cost_two_queries_and_none_that_wait_no_query(sending: Sending) -> None:
    rows = list(shipments_known(sending.donor))
    for given, count in ((rows, 2), (rows * 3, 2), ([], 0)):
        with CaptureQueriesContext(connection) as queries:
            parcel_plans(given)
        assert len(queries) == count
