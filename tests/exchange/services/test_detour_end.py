"""Detours that end, and those that live on: declined, taken back, blocked; reckoned anew each day."""

from collections.abc import Callable
from datetime import timedelta
from itertools import product

import pytest

from exchange.models import Agreement, Detour, Shipment
from exchange.services.agreement_change import agreement_withdraw
from exchange.services.block import block_create
from exchange.services.detour import (
    detour_accept,
    detour_decline,
    detour_withdraw,
    detour_yes,
)
from exchange.services.detour_reckon import detour_plan_due
from exchange.services.detour_rule import ALLOWED
from exchange.services.shipment import shipment_plan, shipment_returned
from growers.errors import Conflict, NotFound
from tests.clock import MovableClock
from tests.exchange.gathered import Gathered
from tests.exchange.parcel import forget, told
from tests.exchange.refusal import refused
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

State = Detour.State


# --- no, and taken back ---

Act = Callable[[Gathered], Detour]
ACTS: dict[str, Act] = {
    State.AGREED: lambda g: g.accept(),
    State.DECLINED: lambda g: detour_decline(actor=g.steward, agreement=g.agreement),
    State.WITHDRAWN: lambda g: detour_withdraw(actor=g.donor, agreement=g.agreement),
}


def at_state(gathered: Gathered, state: str) -> None:
    gathered.ask()
    gathered.yes()
    if state in (State.AGREED, State.DONE):
        gathered.accept()
    if state == State.DONE:
        Detour.objects.update(state=State.DONE)
    if state in (State.DECLINED, State.WITHDRAWN):
        ACTS[state](gathered)


@pytest.mark.parametrize(("state", "wanted"), list(product(ALLOWED, ACTS)))
def test_a_state_follows_as_the_table_says(gathered: Gathered, state: str, wanted: str) -> None:
    assert ALLOWED.keys() == set(State)
    at_state(gathered, state)
    if wanted in ALLOWED[state]:
        assert ACTS[wanted](gathered).state == wanted
        assert gathered.detour.state == wanted
        return
    error = refused(lambda: ACTS[wanted](gathered), Conflict)
    possible = ", ".join(sorted(ALLOWED[state])) or "nothing: it is over"
    assert error.detail == f"The detour is {state} and cannot become {wanted}; allowed: {possible}."


def test_the_donor_declines_and_the_steward_never_hears_of_it(gathered: Gathered) -> None:
    gathered.ask()
    forget()
    detour_decline(actor=gathered.donor, agreement=gathered.agreement)
    assert told(gathered.recipient) == [
        "'Ferry' will not go by way of the steward; the direct way is as it was before."
    ]
    assert told(gathered.steward) == []
    assert gathered.ask().state == State.ASKED  # a no is not for ever


def test_a_yes_is_withdrawn_and_a_wish_declined(gathered: Gathered) -> None:
    gathered.ask()
    error = refused(lambda: detour_decline(actor=gathered.recipient, agreement=gathered.agreement), Conflict)
    assert error.detail == "You have said yes to it; withdraw instead."
    error = refused(lambda: detour_withdraw(actor=gathered.donor, agreement=gathered.agreement), Conflict)
    assert error.detail == "You have not said yes to it; decline it instead."


@pytest.mark.parametrize("who", ["donor", "recipient", "steward"])
def test_any_of_the_three_withdraws_until_it_is_dispatched(gathered: Gathered, who: str) -> None:
    gathered.agree()
    waiting = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
    forget()
    detour_withdraw(actor=getattr(gathered, who), agreement=gathered.agreement)
    waiting.refresh_from_db()
    assert (gathered.detour.state, waiting.state) == ("withdrawn", "called_off")
    others = {"donor", "recipient", "steward"} - {who}
    assert [len(told(getattr(gathered, other))) for other in sorted(others)] == [1, 1]
    direct = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
    assert (direct.leg, direct.detour) == ("direct", None)


def test_once_it_is_dispatched_its_way_stays_until_it_has_come_back(gathered: Gathered) -> None:
    gathered.agree()
    shipment = gathered.to_steward()
    for who in (gathered.donor, gathered.recipient, gathered.steward):
        error = refused(lambda w=who: detour_withdraw(actor=w, agreement=gathered.agreement), Conflict)  # type: ignore[misc]
        assert error.detail == "The parcel has been dispatched; its way stays as it was agreed."
    shipment_returned(actor=gathered.donor, shipment=shipment)
    detour_withdraw(actor=gathered.steward, agreement=gathered.agreement)
    again = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
    assert (again.leg, again.destination_country) == ("direct", "DE")


def test_nothing_is_answered_where_nothing_was_asked(gathered: Gathered) -> None:
    for call in (detour_yes, detour_accept, detour_decline, detour_withdraw):
        error = refused(lambda c=call: c(actor=gathered.donor, agreement=gathered.agreement), NotFound)  # type: ignore[misc]
        assert error.detail == "There is no detour of this agreement."


def test_with_the_agreement_its_detour_ends(gathered: Gathered) -> None:
    gathered.agree()
    forget()
    agreement_withdraw(actor=gathered.recipient, agreement=gathered.agreement)
    assert gathered.detour.state == State.WITHDRAWN
    assert told(gathered.steward) == ["'Ferry' does not come by way of you after all."]
    assert len(told(gathered.donor)) == 1


# --- who must not meet ---


@pytest.mark.parametrize("who", ["donor", "recipient"])
@pytest.mark.parametrize("by_steward", [True, False])
def test_who_is_blocked_never_meets_the_other_in_a_gathering(
    gathered: Gathered, who: str, by_steward: bool
) -> None:
    side = getattr(gathered, who)
    one, other = (gathered.steward, side) if by_steward else (side, gathered.steward)
    block_create(actor=one, blocked=other)
    error = refused(gathered.ask, NotFound)
    assert error.detail == "There is no such gathering."


@pytest.mark.parametrize("who", ["donor", "recipient"])
def test_a_block_takes_the_way_back(gathered: Gathered, who: str) -> None:
    gathered.agree()
    block_create(actor=getattr(gathered, who), blocked=gathered.steward)
    assert gathered.detour.state == State.WITHDRAWN
    assert Agreement.objects.get(pk=gathered.agreement.pk).state == "agreed"


def test_a_block_leaves_what_is_under_way(gathered: Gathered) -> None:
    gathered.agree()
    gathered.to_steward()
    block_create(actor=gathered.donor, blocked=gathered.steward)
    assert gathered.detour.state == State.AGREED
    assert Shipment.objects.get(leg="to_steward").state == "dispatched"


# --- reckoned anew ---


def test_its_plan_is_renewed_each_day_until_something_goes(gathered: Gathered, clock: MovableClock) -> None:
    detour = gathered.agree()
    tomorrow = NOON + timedelta(days=1)
    clock.set(tomorrow)
    assert detour_plan_due(detour.pk, tomorrow) == tomorrow + timedelta(days=1)
    assert gathered.detour.planned_on == tomorrow.date()
    assert gathered.detour.told == detour.told
    gathered.to_steward()
    assert detour_plan_due(detour.pk, tomorrow) is None


def test_past_the_last_day_no_date_is_named(gathered: Gathered, clock: MovableClock) -> None:
    detour = gathered.agree()
    late = NOON + timedelta(days=27)
    clock.set(late)
    detour_plan_due(detour.pk, late)
    assert (gathered.detour.plan["dates"], gathered.detour.not_later_than) == (None, None)
    error = refused(lambda: shipment_plan(actor=gathered.donor, agreement=gathered.agreement), Conflict)
    assert error.detail.startswith("By way of this gathering no day of posting works")
