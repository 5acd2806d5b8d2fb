"""When nobody answers: what time does to agreements, once however often it is delivered, to nobody's harm."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from exchange.models import Agreement, AgreementEvent, DueTask, Notification, Pairing
from exchange.services import due
from exchange.services.agreement_change import agreement_send, agreement_withdraw
from exchange.services.agreement_due import lapse_due, next_donor_due, silence_due
from exchange.services.collection import offer_collect
from exchange.services.due import CLAIM_LASTS, run_due
from exchange.services.matching import matching_run
from exchange.wording.notification import notification_sentence
from growers import clock as project_clock
from growers.models import Grower
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
from tests.exchange.society import NOON, TODAY, make_pairing, make_society
from tests.factories import make_grower, make_offer_in_hand, make_plant

pytestmark = pytest.mark.django_db

EVENING = datetime(2027, 7, 5, 16, tzinfo=UTC)
"""18:00 in Paris on the posting day of the pairings here."""


@pytest.fixture(autouse=True)
def _no_matching(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is looked for; what is due is done."""
    monkeypatch.setattr(due, "SOURCES", [])


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    made = make_bargain(donor, recipient)
    dates = {"post_on": EVENING.date(), "not_later_than": TODAY + timedelta(days=40)}
    Pairing.objects.update(**dates)
    made.pairing.refresh_from_db()
    return made


def second_donor(bargain: Bargain) -> Pairing:
    """Another donor's pollen for the same wanted cross."""
    offer = make_offer_in_hand(make_plant(make_grower("neighbour")), TODAY, countries=["DE"])
    return make_pairing(offer, bargain.pairing.wanted_cross)


def told(grower: Grower, kind: str) -> list[str]:
    rows = Notification.objects.filter(grower=grower, event__kind=kind).order_by("pk")
    return [notification_sentence(row) for row in rows]


# --- a single yes ---


def test_a_single_yes_lapses_and_both_hear_it_kindly(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    agreement = propose(bargain.pairing)
    clock.set(agreement.lapses_at - timedelta(minutes=1))
    run_due(project_clock.now(), 100)
    agreement.refresh_from_db()
    assert agreement.state == "proposed"
    clock.move(minutes=2)
    run_due(project_clock.now(), 100)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.end_reason, agreement.ended_at) == (
        "lapsed",
        "no_answer",
        agreement.lapses_at,
    )
    sentence = "About 'Ferry': it has lapsed. There was no answer in time; that says nothing about anybody."
    assert told(donor, "lapsed") == told(recipient, "lapsed") == [sentence]
    assert not DueTask.objects.filter(kind__startswith="agreement").exists()


def test_the_asker_sees_the_next_donor_half_way(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    other = second_donor(bargain)
    agreement = propose(bargain.pairing)
    half = agreement.created_at + (agreement.lapses_at - agreement.created_at) / 2
    clock.set(half - timedelta(minutes=1))
    run_due(project_clock.now(), 100)
    assert told(recipient, "next_donor_shown") == []
    clock.move(minutes=2)
    run_due(project_clock.now(), 100)
    assert told(recipient, "next_donor_shown") == [
        "No answer yet about 'Ferry'; silence may mean a busy week. Somebody else could send pollen too."
    ]
    event = AgreementEvent.objects.get(kind="next_donor_shown")
    assert event.parameters == {"pairing_id": str(other.public_id)}
    assert told(donor, "next_donor_shown") == []


def test_where_there_is_no_other_donor_or_the_donor_asked_nothing_is_shown(
    bargain: Bargain, outsider: Grower, clock: MovableClock
) -> None:
    alone = propose(bargain.pairing, doses=1)
    next_donor_due(alone.pk, project_clock.now())
    by_donor = propose(bargain.wanted_by(outsider), actor=bargain.donor, doses=1)
    second_donor(bargain)
    next_donor_due(by_donor.pk, project_clock.now())
    assert not AgreementEvent.objects.filter(kind="next_donor_shown").exists()


# --- reserved doses ---


def test_reserved_doses_go_back_at_their_time(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing)
    clock.set(DueTask.objects.get(kind="agreement_reservation").due_at + timedelta(minutes=1))
    run_due(project_clock.now(), 100)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.end_reason) == ("lapsed", "time_ran_out")
    assert bargain.supply().left == 4
    for grower in (donor, recipient):
        assert told(grower, "lapsed") == [
            "About 'Ferry': it has lapsed. The time for which doses were reserved has passed."
        ]
    assert_sums_hold()


# --- a silent donor ---


def test_a_recipient_hears_that_evening_that_nothing_was_heard(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    other = second_donor(bargain)
    agree(bargain.pairing)
    clock.set(EVENING - timedelta(minutes=1))
    run_due(project_clock.now(), 100)
    assert told(recipient, "donor_silent") == []
    clock.move(minutes=2)
    run_due(project_clock.now(), 100)
    assert told(recipient, "donor_silent") == [
        "Today was the day to post 'Ferry', and nothing was heard yet; it may still be under way."
    ]
    assert told(donor, "donor_silent") == []
    event = AgreementEvent.objects.get(kind="donor_silent")
    assert (event.actor, event.parameters) == (None, {"pairing_id": str(other.public_id)})


def collected(bargain: Bargain, agreement: Agreement) -> None:
    offer_collect(actor=bargain.donor, offer=bargain.offer, doses=4, collected_on=TODAY, store="refrigerator")


def sent(bargain: Bargain, agreement: Agreement) -> None:
    state_papers(agreement)
    agreement_send(actor=bargain.donor, agreement=agreement)


def withdrawn(bargain: Bargain, agreement: Agreement) -> None:
    agreement_withdraw(actor=bargain.donor, agreement=agreement)


@pytest.mark.parametrize("heard", [collected, sent, withdrawn])
def test_a_donor_who_was_heard_is_not_silent(
    bargain: Bargain, clock: MovableClock, heard: Callable[[Bargain, Agreement], None]
) -> None:
    agreement = agree(bargain.pairing)
    heard(bargain, agreement)
    silence_due(agreement.pk, EVENING)
    assert not AgreementEvent.objects.filter(kind="donor_silent").exists()


# --- once, however often ---


def single_yes(bargain: Bargain, clock: MovableClock) -> tuple[Agreement, Any]:
    agreement = propose(bargain.pairing)
    clock.set(agreement.lapses_at + timedelta(minutes=1))
    return agreement, lapse_due


def reservation(bargain: Bargain, clock: MovableClock) -> tuple[Agreement, Any]:
    agreement = agree(bargain.pairing)
    clock.move(days=150)
    return agreement, lapse_due


def unanswered(bargain: Bargain, clock: MovableClock) -> tuple[Agreement, Any]:
    second_donor(bargain)
    agreement = propose(bargain.pairing)
    clock.move(days=6)
    return agreement, next_donor_due


def silent(bargain: Bargain, clock: MovableClock) -> tuple[Agreement, Any]:
    agreement = accept(propose(bargain.pairing))
    clock.set(EVENING + timedelta(minutes=1))
    return agreement, silence_due


WAITS = [single_yes, reservation, unanswered, silent]


def effects() -> tuple[Any, ...]:
    return (
        list(AgreementEvent.objects.order_by("pk").values_list("agreement", "kind", "actor")),
        list(Notification.objects.order_by("pk").values_list("grower", "event")),
        list(Agreement.objects.values_list("state", "end_reason", "ended_at")),
    )


@pytest.mark.parametrize("wait", WAITS)
def test_delivered_twice_is_once(
    bargain: Bargain, clock: MovableClock, wait: Callable[[Bargain, MovableClock], tuple[Agreement, Any]]
) -> None:
    agreement, handler = wait(bargain, clock)
    before = effects()
    handler(agreement.pk, project_clock.now())
    after = effects()
    assert after != before
    handler(agreement.pk, project_clock.now())
    assert effects() == after
    assert_sums_hold()


@pytest.mark.parametrize("wait", WAITS)
def test_a_worker_that_dies_after_the_work_leaves_one_effect(
    bargain: Bargain,
    clock: MovableClock,
    monkeypatch: pytest.MonkeyPatch,
    wait: Callable[[Bargain, MovableClock], tuple[Agreement, Any]],
) -> None:
    wait(bargain, clock)
    before = effects()
    with monkeypatch.context() as killed:
        killed.setattr(due, "finish", _dies)
        with pytest.raises(KeyboardInterrupt):
            run_due(project_clock.now(), 1)
    after = effects()
    assert after != before
    later = project_clock.now() + CLAIM_LASTS + timedelta(minutes=1)
    run_due(later, 1)
    assert effects() == after


def _dies(*_: object) -> None:
    raise KeyboardInterrupt


# --- silence never counts against a person ---


def test_what_is_proposed_and_shared_out_is_the_same_after_silence(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    make_society(donor, recipient)
    matching_run(today=TODAY)
    late = NOON + timedelta(days=11)
    undisturbed = told_by_a_run(late, clock)
    clock.set(NOON)
    for _ in range(2):
        silent_one = propose(Pairing.objects.get(state="suggested"), doses=2)
        clock.set(silent_one.lapses_at)
        run_due(project_clock.now(), 100)
        silent_one.refresh_from_db()
        assert silent_one.state == "lapsed"
        clock.set(NOON + timedelta(hours=1))
    assert told_by_a_run(late, clock) == undisturbed


def told_by_a_run(at: datetime, clock: MovableClock) -> list[tuple[Any, ...]]:
    """What a run at that time finds, and how it shares out; nothing of it is kept."""
    clock.set(at)
    names = ("offer", "wanted_cross", "input_digest", "chance", "allocated_doses", "allocation", "plan")
    with transaction.atomic():
        matching_run(today=at.date())
        found = list(Pairing.objects.filter(state="suggested").order_by("pk").values_list(*names))
        transaction.set_rollback(True)
    assert len(found) == 1
    return found
