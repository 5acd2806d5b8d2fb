"""What may change after two yeses: fewer doses, another season, handing over, the end; and by whom."""

from collections.abc import Callable
from functools import partial

import pytest
from django.db import transaction

from exchange.models import Agreement, AgreementEvent, DueTask, PapersStatement, Reservation
from exchange.services.agreement import agreement_decline
from exchange.services.agreement_change import (
    agreement_end,
    agreement_postpone,
    agreement_send,
    agreement_send_less,
    agreement_withdraw,
)
from exchange.services.agreement_rule import ALLOWED
from growers.errors import Conflict, InvalidInput, NotFound
from growers.models import Grower
from tests.append_only import unguarded
from tests.clock import MovableClock
from tests.exchange.bargain import (
    Bargain,
    accept,
    agree,
    assert_sums_hold,
    make_bargain,
    propose,
    state_papers,
)
from tests.exchange.refusal import refused
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

State = Agreement.State


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def counters(bargain: Bargain) -> tuple[int, int, int]:
    """Reserved, sent and left."""
    supply = bargain.supply()
    assert_sums_hold()
    return supply.reserved, supply.sent, supply.left


def test_sending_less_gives_doses_back_at_once(bargain: Bargain, donor: Grower) -> None:
    agreement = agree(bargain.pairing, doses=3)
    agreement_send_less(actor=donor, agreement=agreement, doses=1)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.doses) == ("agreed", 1)
    assert counters(bargain) == (1, 0, 3)
    event = AgreementEvent.objects.get(kind="sent_less")
    assert (event.actor, event.parameters) == (donor, {"doses": 1, "before": 3})


@pytest.mark.parametrize("doses", [0, 3, 4])
def test_less_is_less_and_not_nothing(bargain: Bargain, donor: Grower, doses: int) -> None:
    agreement = agree(bargain.pairing, doses=3)
    error = refused(lambda: agreement_send_less(actor=donor, agreement=agreement, doses=doses), InvalidInput)
    assert error.detail == f"doses is {doses}; allowed: 1 to 2."


def test_only_the_donor_sends_and_sends_less(bargain: Bargain, recipient: Grower, outsider: Grower) -> None:
    agreement = agree(bargain.pairing)
    for actor, error in ((recipient, Conflict), (outsider, NotFound)):
        refused(partial(agreement_send, actor=actor, agreement=agreement), error)
        refused(partial(agreement_send_less, actor=actor, agreement=agreement, doses=1), error)


@pytest.mark.parametrize(
    ("act", "reason"), [(agreement_postpone, "postponed"), (agreement_withdraw, "withdrawn")]
)
def test_stepping_back_frees_the_doses_and_ends_the_waiting(
    bargain: Bargain, recipient: Grower, act: Callable[..., Agreement], reason: str
) -> None:
    agreement = agree(bargain.pairing, doses=3)
    ended = act(actor=recipient, agreement=agreement)
    assert (ended.state, ended.end_reason) == ("ended", reason)
    assert counters(bargain) == (0, 0, 4)
    assert Reservation.objects.get().state == "released"
    assert not DueTask.objects.filter(kind__startswith="agreement").exists()
    bargain.offer.refresh_from_db()
    assert bargain.offer.state == "open"
    assert propose(bargain.pairing).state == "proposed"


def test_handing_over_uses_the_doses_up(bargain: Bargain, donor: Grower, recipient: Grower) -> None:
    agreement = agree(bargain.pairing, doses=3)
    state_papers(agreement)
    agreement_send(actor=donor, agreement=agreement)
    assert counters(bargain) == (0, 3, 1)
    assert Reservation.objects.get().state == "used"
    again = refused(lambda: agreement_send(actor=donor, agreement=agreement), Conflict)
    assert again.detail == "The doses have been sent already."
    for act in (agreement_withdraw, agreement_postpone):
        error = refused(lambda a=act: a(actor=recipient, agreement=agreement), Conflict)  # type: ignore[misc]
        assert error.detail == "The doses have been sent; close the agreement when its story is over."
    ended = agreement_end(actor=recipient, agreement=agreement)
    assert (ended.state, ended.end_reason) == ("ended", "done")
    assert counters(bargain) == (0, 3, 1)


def test_nothing_sent_is_nothing_to_close(bargain: Bargain, donor: Grower) -> None:
    agreement = agree(bargain.pairing)
    error = refused(lambda: agreement_end(actor=donor, agreement=agreement), Conflict)
    assert error.detail == "Nothing has been sent; withdraw, or put it off to next season."


def test_a_parcel_that_is_not_clean_or_papers_that_are_not_sure_keep_it_at_home(
    bargain: Bargain, donor: Grower
) -> None:
    agreement = agree(bargain.pairing)
    state_papers(agreement)
    with unguarded():
        PapersStatement.objects.filter(side="recipient").update(papers="not_sure")
        PapersStatement.objects.filter(side="donor").update(free_of_soil_water_insects=False)
    error = refused(lambda: agreement_send(actor=donor, agreement=agreement), Conflict)
    assert error.detail == (
        "The donor states that the parcel is not free of soil, pond water and insects. The recipient is not"
        " sure about the papers; ask the plant-health authority first."
    )


def test_after_its_time_a_reservation_is_gone_for_everybody(
    bargain: Bargain, donor: Grower, outsider: Grower, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing, doses=4)
    state_papers(agreement)
    clock.move(days=200)
    error = refused(lambda: agreement_send(actor=donor, agreement=agreement), Conflict)
    assert error.detail == "The agreement is lapsed; doses are reserved once both have said yes."
    late = agree(bargain.wanted_by(outsider), doses=4)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.end_reason, late.state) == ("lapsed", "time_ran_out", "agreed")
    assert counters(bargain) == (4, 0, 0)


# --- every pair of states ---

Act = Callable[[Agreement], object]

ACTS: dict[str, tuple[Act, dict[str, str]]] = {
    "accept": (accept, {"proposed": "agreed"}),
    "decline": (
        lambda row: agreement_decline(actor=row.donor, agreement=row, reason="other"),
        {"proposed": "declined"},
    ),
    "withdraw": (
        lambda row: agreement_withdraw(actor=row.recipient, agreement=row),
        {"proposed": "ended", "agreed": "ended"},
    ),
    "postpone": (
        lambda row: agreement_postpone(actor=row.donor, agreement=row),
        {"proposed": "ended", "agreed": "ended"},
    ),
    "send_less": (
        lambda row: agreement_send_less(actor=row.donor, agreement=row, doses=1),
        {"agreed": "agreed"},
    ),
    "send": (lambda row: agreement_send(actor=row.donor, agreement=row), {"agreed": "agreed"}),
    "end": (lambda row: agreement_end(actor=row.donor, agreement=row), {}),
}
"""Each action, and the state it leads to from those in which it may be done; nothing has been sent."""


def in_state(bargain: Bargain, state: str, clock: MovableClock) -> Agreement:
    """An agreement that came into a state by its own way, with statements made while it could be."""
    agreement = propose(bargain.pairing)
    state_papers(agreement)
    if state == State.AGREED:
        accept(agreement)
    elif state == State.DECLINED:
        agreement_decline(actor=agreement.donor, agreement=agreement, reason="other")
    elif state == State.ENDED:
        agreement_withdraw(actor=agreement.recipient, agreement=agreement)
    elif state == State.LAPSED:
        clock.move(days=11)
    agreement.refresh_from_db()
    return agreement


def test_the_table_knows_every_state_and_nothing_leads_out_of_an_end() -> None:
    assert set(ALLOWED) == set(State.values)
    over = {state for state, following in ALLOWED.items() if not following}
    assert over == {"declined", "lapsed", "ended"}
    assert ALLOWED["agreed"] == {"lapsed", "ended"}


@pytest.mark.parametrize("state", State.values)
def test_every_action_in_every_state(bargain: Bargain, state: str, clock: MovableClock) -> None:
    key = in_state(bargain, state, clock).pk
    for call, leads_to in ACTS.values():
        agreement = Agreement.objects.get(pk=key)
        if state not in leads_to:
            refused(partial(call, agreement), Conflict)
            continue
        before = transaction.savepoint()
        call(agreement)
        agreement.refresh_from_db()
        assert agreement.state == leads_to[state]
        assert_sums_hold()
        transaction.savepoint_rollback(before)
