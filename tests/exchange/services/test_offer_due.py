"""An offer older than a season: asked about once, rests without an answer, open again with one.

A season of 180 days and 14 days to answer are judgement.
"""

from datetime import timedelta

import pytest

from exchange.models import DueTask, Notification, Offer
from exchange.services import due
from exchange.services.due import CLAIM_LASTS, run_due
from exchange.services.offer import offer_pause, offer_reopen
from exchange.services.offer_change import offer_still_true, offer_update
from exchange.services.offer_due import ANSWER_TIME, KIND, SEASON, still_true_due
from exchange.wording.notification import notification_sentence
from growers import clock as project_clock
from growers.errors import Conflict
from growers.models import Change, Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain
from tests.exchange.refusal import refused
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

ASKED = "Your offer of 'Ferry' is older than a season. Does it still hold?"
RESTS = "Your offer of 'Ferry' rests: nobody said that it still holds. Say so, and it is open again."


@pytest.fixture(autouse=True)
def _no_matching(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is looked for; what is due is done."""
    monkeypatch.setattr(due, "SOURCES", [])


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


@pytest.fixture
def offer(bargain: Bargain) -> Offer:
    Change.objects.all().delete()
    return bargain.offer


def sweep(clock: MovableClock, at: timedelta = timedelta()) -> None:
    """Move the clock on and do what is due."""
    clock.move(seconds=at.total_seconds())
    run_due(project_clock.now(), 100)


def told(grower: Grower) -> list[str]:
    rows = Notification.objects.filter(grower=grower, offer__isnull=False).order_by("pk")
    return [notification_sentence(row) for row in rows]


def test_a_season_without_a_word_then_two_weeks_without_an_answer(
    offer: Offer, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    sweep(clock, SEASON - timedelta(minutes=5))
    assert told(donor) == []
    sweep(clock, timedelta(minutes=10))
    assert told(donor) == [ASKED]
    sweep(clock, ANSWER_TIME - timedelta(minutes=5))
    offer.refresh_from_db()
    assert offer.state == "open"
    assert not Change.objects.filter(kind="offer").exists()
    sweep(clock, timedelta(minutes=10))
    offer.refresh_from_db()
    assert (offer.state, told(donor), told(recipient)) == ("paused", [ASKED, RESTS], [])
    assert list(Change.objects.values_list("kind", "subject_id")) == [("offer", offer.pk)]
    assert not DueTask.objects.filter(kind=KIND).exists()


def test_still_true_in_time_asks_again_a_season_later(
    offer: Offer, donor: Grower, clock: MovableClock
) -> None:
    sweep(clock, SEASON + timedelta(minutes=1))
    offer_still_true(actor=donor, offer=offer)
    sweep(clock, SEASON - timedelta(minutes=5))
    offer.refresh_from_db()
    assert (offer.state, offer.still_true_asked_at, told(donor)) == ("open", None, [ASKED])
    sweep(clock, timedelta(minutes=10))
    assert told(donor) == [ASKED, ASKED]


@pytest.mark.parametrize("answer", [offer_still_true, offer_reopen])
def test_an_offer_that_rests_is_opened_by_either_word(
    offer: Offer, donor: Grower, clock: MovableClock, answer: object
) -> None:
    sweep(clock, SEASON + timedelta(minutes=1))
    sweep(clock, ANSWER_TIME + timedelta(minutes=1))
    answer(actor=donor, offer=offer)  # type: ignore[operator]
    offer.refresh_from_db()
    assert (offer.state, offer.still_true_asked_at) == ("open", None)
    assert project_clock.now() - offer.confirmed_at < timedelta(minutes=1)
    assert DueTask.objects.get(kind=KIND).due_at == offer.confirmed_at + SEASON


def test_an_edit_says_that_it_holds(offer: Offer, donor: Grower, clock: MovableClock) -> None:
    sweep(clock, SEASON + timedelta(minutes=1))
    offer_update(actor=donor, offer=offer, note="flowers again")
    sweep(clock, ANSWER_TIME + timedelta(minutes=1))
    offer.refresh_from_db()
    assert offer.state == "open"


def test_what_its_donor_paused_is_not_asked_about_nor_opened_by_still_true(
    offer: Offer, donor: Grower, clock: MovableClock
) -> None:
    sweep(clock, SEASON + timedelta(minutes=1))
    offer_pause(actor=donor, offer=offer)
    error = refused(lambda: offer_still_true(actor=donor, offer=offer), Conflict)
    assert error.detail == "You have paused the offer yourself; reopen it."
    sweep(clock, SEASON + ANSWER_TIME)
    assert told(donor) == [ASKED]


def test_agreements_about_an_offer_that_rests_stay(
    bargain: Bargain, offer: Offer, clock: MovableClock
) -> None:
    sweep(clock, SEASON + timedelta(minutes=1))
    clock.move(days=1)
    agreement = agree(bargain.pairing)
    sweep(clock, ANSWER_TIME - timedelta(hours=23))
    agreement.refresh_from_db()
    offer.refresh_from_db()
    assert (offer.state, agreement.state, bargain.supply().reserved) == ("paused", "agreed", 2)


def test_delivered_twice_it_asks_once_and_rests_once(
    offer: Offer, donor: Grower, clock: MovableClock
) -> None:
    for wait, sentences in ((SEASON, [ASKED]), (ANSWER_TIME, [ASKED, RESTS])):
        clock.move(seconds=wait.total_seconds() + 60)
        for _ in range(2):
            still_true_due(offer.pk, project_clock.now())
        assert told(donor) == sentences
    assert Change.objects.filter(kind="offer").count() == 1


def test_a_worker_that_dies_after_the_work_leaves_one_effect(
    offer: Offer, donor: Grower, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock.move(seconds=SEASON.total_seconds() + 60)
    with monkeypatch.context() as killed:
        killed.setattr(due, "finish", _dies)
        with pytest.raises(KeyboardInterrupt):
            sweep(clock)
    assert (told(donor), DueTask.objects.get(kind=KIND).attempts) == ([ASKED], 1)
    sweep(clock, CLAIM_LASTS + timedelta(minutes=1))
    row = DueTask.objects.get(kind=KIND)
    offer.refresh_from_db()
    assert offer.still_true_asked_at is not None
    assert (told(donor), row.due_at) == ([ASKED], offer.still_true_asked_at + ANSWER_TIME)


def _dies(*_: object) -> None:
    raise KeyboardInterrupt
