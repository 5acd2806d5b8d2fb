"""Gatherings: opened by a steward for a month at most, changed, closed, called off."""

from collections.abc import Callable
from datetime import date, timedelta
from itertools import product
from typing import Any

import pytest

from exchange.models import Detour, Gathering
from exchange.services.account import account_close
from exchange.services.gathering import (
    ALLOWED,
    gathering_call_off,
    gathering_change,
    gathering_close,
)
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.gathered import BERLIN, PERMIT, Gathered, make_gathered, make_gathering
from tests.exchange.parcel import forget, told
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY
from tests.factories import make_grower, make_site

pytestmark = pytest.mark.django_db

State = Gathering.State


@pytest.fixture
def steward(db: None, clock: MovableClock) -> Grower:
    clock.set(NOON)
    return make_grower("keeper")


@pytest.fixture
def gathered(donor: Grower, recipient: Grower, steward: Grower) -> Gathered:
    return make_gathered(donor, recipient, steward)


def test_it_stands_as_it_was_said(steward: Grower) -> None:
    made = make_gathering(steward)
    made.refresh_from_db()
    assert (made.steward, made.country, made.state) == (steward, "DE", "open")
    assert (made.reach_from, made.reach_until, made.handling_days) == (TODAY, date(2027, 7, 28), 3)
    assert (made.permit_number, made.permit_valid_until) == (PERMIT, date(2027, 9, 29))


DAYS = "days from 2027-07-01 to 2027-07-31, at most 31 days in all"


@pytest.mark.parametrize(
    ("field", "value", "shown", "allowed"),
    [
        ("reach_from", date(2027, 6, 30), "2027-06-30", "days from 2027-07-01 to 2028-07-01"),
        ("reach_until", date(2027, 8, 1), "2027-08-01", DAYS),
        ("reach_until", date(2027, 6, 30), "2027-06-30", DAYS),
        ("permit_valid_until", date(2027, 7, 27), "2027-07-27", "2027-07-28 or later"),
        ("handling_days", 15, "15", "whole numbers from 0 to 14"),
        ("handling_days", -1, "-1", "whole numbers from 0 to 14"),
        ("permit_number", "", "missing", "1 to 80 characters"),
        ("note", "a" * 401, f"'{'a' * 59}… (403 characters)", "at most 400 characters"),
    ],
)
def test_what_does_not_fit_is_refused(
    steward: Grower, field: str, value: Any, shown: str, allowed: str
) -> None:
    site = make_site(steward, **BERLIN)
    found = problems(lambda: make_gathering(steward, site=site, **{field: value}))
    assert found == {f"/{field}": f"{field} is {shown}; allowed: {allowed}."}


def test_thirty_one_days_are_the_most(steward: Grower) -> None:
    made = make_gathering(steward, reach_until=TODAY + timedelta(days=30), handling_days=14)
    assert (made.reach_until - made.reach_from).days == 30


def test_it_stands_at_a_site_of_ones_own(steward: Grower, outsider: Grower) -> None:
    site = make_site(outsider, **BERLIN)
    error = refused(lambda: make_gathering(steward, site=site), NotFound)
    assert error.detail == "There is no such site."


def test_only_the_steward_changes_it(steward: Grower, outsider: Grower) -> None:
    made = make_gathering(steward)
    for call in (gathering_change, gathering_close, gathering_call_off):
        error = refused(lambda call=call: call(actor=outsider, gathering=made), NotFound)  # type: ignore[misc]
        assert error.detail == "There is no such gathering."


def test_who_has_a_place_in_it_does_not_change_it(gathered: Gathered) -> None:
    gathered.ask()
    for call in (gathering_change, gathering_close, gathering_call_off):
        for side in (gathered.donor, gathered.recipient):
            error = refused(lambda c=call, s=side: c(actor=s, gathering=gathered.gathering), Conflict)  # type: ignore[misc]
            assert error.detail == "Only the steward can do this."


# --- change ---


def test_it_changes_while_nobody_has_a_place(steward: Grower, clock: MovableClock) -> None:
    made = make_gathering(steward)
    clock.set(NOON + timedelta(days=3))
    gathering_change(actor=steward, gathering=made, handling_days=1, note="ring twice")
    made.refresh_from_db()
    assert (made.handling_days, made.note, made.reach_from) == (1, "ring twice", TODAY)
    found = problems(lambda: gathering_change(actor=steward, gathering=made, reach_from=TODAY))
    assert list(found) == ["/reach_from"]


def test_days_stay_while_somebody_asks_and_the_permit_may_change(gathered: Gathered) -> None:
    gathered.ask()
    error = refused(
        lambda: gathering_change(actor=gathered.steward, gathering=gathered.gathering, handling_days=4),
        Conflict,
    )
    assert error.detail == ("Somebody has a place in it or asks for one; its days stay as they said yes to.")
    changed = gathering_change(
        actor=gathered.steward, gathering=gathered.gathering, permit_number="4712", handling_days=3
    )
    assert (changed.permit_number, changed.handling_days) == ("4712", 3)


# --- states ---

Act = Callable[[Grower, Gathering], Gathering]
ACTS: dict[str, Act] = {
    State.CLOSED: lambda steward, row: gathering_close(actor=steward, gathering=row),
    State.CALLED_OFF: lambda steward, row: gathering_call_off(actor=steward, gathering=row),
}


@pytest.mark.parametrize(("state", "wanted"), list(product(ALLOWED, ACTS)))
def test_a_state_follows_as_the_table_says(steward: Grower, state: str, wanted: str) -> None:
    assert ALLOWED.keys() == set(State)
    made = make_gathering(steward)
    if state != State.OPEN:
        made = ACTS[state](steward, made)
    if wanted in ALLOWED[state]:
        assert ACTS[wanted](steward, made).state == wanted
        return
    error = refused(lambda: ACTS[wanted](steward, made), Conflict)
    possible = ", ".join(sorted(ALLOWED[state])) or "nothing: it is over"
    assert error.detail == f"The gathering is {state} and cannot become {wanted}; allowed: {possible}."


def test_nothing_of_one_called_off_changes(steward: Grower) -> None:
    made = gathering_call_off(actor=steward, gathering=make_gathering(steward))
    error = refused(lambda: gathering_change(actor=steward, gathering=made, note="x"), Conflict)
    assert error.detail == "The gathering is called off; nothing of it changes any more."


def test_called_off_all_places_are_taken_back(gathered: Gathered) -> None:
    gathered.agree()
    forget()
    gathering_call_off(actor=gathered.steward, gathering=gathered.gathering)
    assert gathered.detour.state == Detour.State.WITHDRAWN
    sentence = "The way of 'Ferry' by a steward has been taken back; the direct way is as it was before."
    assert told(gathered.donor) == told(gathered.recipient) == [sentence]
    assert told(gathered.steward) == []


def test_closed_places_stay(gathered: Gathered) -> None:
    gathered.agree()
    gathering_close(actor=gathered.steward, gathering=gathered.gathering)
    assert gathered.detour.state == Detour.State.AGREED


def test_it_is_not_called_off_once_a_parcel_is_on_its_way(gathered: Gathered) -> None:
    gathered.agree()
    gathered.to_steward()
    error = refused(
        lambda: gathering_call_off(actor=gathered.steward, gathering=gathered.gathering), Conflict
    )
    assert error.detail == "A parcel has been dispatched by way of it; close it instead."


def test_a_steward_who_leaves_ends_it_and_leaves_no_permit(gathered: Gathered) -> None:
    gathered.agree()
    forget()
    account_close(actor=gathered.steward)
    gathering = Gathering.objects.get()
    assert (gathering.state, gathering.permit_number) == ("called_off", "")
    assert gathered.detour.state == Detour.State.WITHDRAWN
    assert len(told(gathered.donor)) == len(told(gathered.recipient)) == 1


def test_a_steward_may_leave_twice_called_off_gatherings(steward: Grower) -> None:
    gathering_call_off(actor=steward, gathering=make_gathering(steward))
    account_close(actor=steward)
    assert Gathering.objects.get().state == "called_off"
