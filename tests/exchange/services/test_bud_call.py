"""The bud call: the donor is told to post when the recipient's bud is at the surface, once."""

from datetime import UTC, date, datetime, timedelta

import pytest

from exchange.models import Agreement, AgreementEvent
from exchange.selectors.agreement import agreements_for, agreements_of
from exchange.selectors.notification import notification_for, notifications_of
from exchange.services.bud_call import bud_calls_make
from exchange.services.carrier_service import carrier_service_create
from exchange.services.collection import offer_collect
from exchange.services.detour import detour_withdraw
from exchange.services.due import run_due
from exchange.services.offer_change import offer_update
from growers import clock as project_clock
from growers.models import Grower
from growers.services.bloom import bloom_bud_seen
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose
from tests.exchange.gathered import make_gathered
from tests.exchange.society import NOON, TODAY
from tests.factories import make_grower
from tests.growers.services.test_race import at_once

pytestmark = pytest.mark.django_db

FRIDAY = date(2027, 7, 2)
CALLED = AgreementEvent.Kind.BUD_CALL


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def waits(bargain: Bargain) -> Agreement:
    """Agreed, collected, in the donor's refrigerator."""
    agreement = agree(bargain.pairing, doses=2)
    offer_collect(actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator")
    return agreement


def bud(agreement: Agreement, stage: str, seen_on: date) -> None:
    bloom_bud_seen(
        actor=agreement.recipient,
        plant=agreement.wanted_cross.seed_parent,
        seen_on=seen_on,
        bud_stage=stage,
    )


def calls(agreement: Agreement) -> list[str]:
    rows = agreement.events.filter(kind=CALLED).order_by("pk")
    return [row.parameters["post_on"] for row in rows]


def test_the_donor_is_told_to_post_on_the_next_open_day(bargain: Bargain, clock: MovableClock) -> None:
    agreement = waits(bargain)
    # Friday 2 July 2027: the French post opens again on Monday.
    clock.set(datetime(2027, 7, 2, 15, tzinfo=UTC))
    bud(agreement, "at the surface", date(2027, 7, 2))
    run_due(project_clock.now(), 50)
    assert calls(agreement) == ["2027-07-05"]
    told = [notification_for(row).detail for row in notifications_of(bargain.donor)]
    assert (
        "recipient sees a bud at the surface: post 'Ferry' on 2027-07-05, the next day the post is open."
        in told
    )
    assert not notifications_of(agreement.recipient).filter(event__kind=CALLED).exists()
    for grower, reads_it in ((agreement.donor, True), (agreement.recipient, False)):
        (shown,) = agreements_for(grower, agreements_of(grower))
        assert (CALLED in [event.kind for event in shown.events]) is reads_it


def test_the_next_open_day_is_that_of_the_carrier_service(bargain: Bargain) -> None:
    agreement = waits(bargain)
    counter = carrier_service_create(
        actor=bargain.donor,
        name="counter",
        country="FR",
        weekdays=["friday", "saturday"],
        closed_days=[FRIDAY],
    )
    offer_update(actor=bargain.donor, offer=bargain.offer, carrier_service=counter)
    bud(agreement, "at the surface", TODAY)
    bud_calls_make(project_clock.now())
    assert calls(agreement) == ["2027-07-03"]


def test_by_way_of_a_steward_no_bud_names_the_day(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    gathered = make_gathered(donor, recipient, make_grower("keeper"))
    gathered.ask()
    gathered.yes()
    bud(gathered.agreement, "at the surface", TODAY)
    gathered.accept()
    bud_calls_make(project_clock.now())
    assert calls(gathered.agreement) == []
    detour_withdraw(actor=recipient, agreement=gathered.agreement)
    bud_calls_make(project_clock.now())
    assert calls(gathered.agreement) == ["2027-07-02"]


def test_once_however_many_buds_and_workers(bargain: Bargain, clock: MovableClock) -> None:
    agreement = waits(bargain)
    bud(agreement, "at the surface", TODAY)
    bud(agreement, "showing colour", TODAY)
    for _ in range(2):
        bud_calls_make(project_clock.now())
    clock.move(days=1)
    bud(agreement, "showing colour", TODAY + timedelta(days=1))
    bud_calls_make(project_clock.now())
    assert calls(agreement) == ["2027-07-02"]


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_call_once(bargain: Bargain) -> None:
    agreement = waits(bargain)
    bud(agreement, "at the surface", TODAY)
    now = project_clock.now()
    assert at_once(lambda: bud_calls_make(now), lambda: bud_calls_make(now)) == [None, None]
    assert len(calls(agreement)) == 1


def test_a_bud_under_water_or_long_ago_calls_nobody(bargain: Bargain, clock: MovableClock) -> None:
    agreement = waits(bargain)
    bud(agreement, "under water", TODAY)
    bud_calls_make(project_clock.now())
    bud(agreement, "at the surface", TODAY - timedelta(days=6))
    bud_calls_make(project_clock.now())
    assert calls(agreement) == []


def test_without_a_lot_in_store_or_a_second_yes_there_is_nothing_to_post(
    bargain: Bargain, outsider: Grower
) -> None:
    on_request = agree(bargain.pairing, doses=1)
    proposed = propose(bargain.wanted_by(outsider))
    for agreement in (on_request, proposed):
        bud(agreement, "at the surface", TODAY)
    bud_calls_make(project_clock.now())
    assert not AgreementEvent.objects.filter(kind=CALLED).exists()
