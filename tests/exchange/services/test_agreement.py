"""Two yeses make an agreement and reserve its doses; a refusal changes nothing."""

from datetime import UTC, date, datetime, timedelta
from unittest.mock import ANY

import pytest

from exchange.models import Agreement, AgreementEvent, DueTask, Notification, Pairing, Reservation
from exchange.services.agreement import agreement_accept, agreement_decline, agreement_propose
from exchange.services.supply import DosesShort
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, agree, assert_sums_hold, make_bargain, propose
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON
from tests.factories import make_grower

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, terms=[{"code": "tell_result"}, {"code": "ask_before_naming"}])


def told(grower: Grower) -> list[str]:
    """Kinds of the events that a grower was told of, in order."""
    rows = Notification.objects.filter(grower=grower, event__isnull=False).order_by("pk")
    return [row.event.kind for row in rows.select_related("event") if row.event]


def test_the_first_yes_reserves_nothing_and_tells_the_other(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    agreement = propose(bargain.pairing, doses=3)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.doses, agreement.proposed_by) == ("proposed", 3, recipient)
    assert (agreement.donor, agreement.recipient) == (donor, recipient)
    assert [term["text"] for term in agreement.terms] == [
        "Tell me what became of it, failures too.",
        "Ask me before you name a seedling of it.",
    ]
    assert agreement.terms_worded_at == agreement.created_at
    assert bargain.supply().left == 4
    assert (told(donor), told(recipient)) == (["proposed"], [])


def test_the_second_yes_reserves_the_doses_at_once(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    Change.objects.all().delete()
    agreement = agree(bargain.pairing, doses=3)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.agreed_at, agreement.post_from) == ("agreed", ANY, "home")
    supply, reservation = bargain.supply(), Reservation.objects.get()
    assert (supply.reserved, supply.sent, supply.left) == (3, 0, 1)
    assert (reservation.doses, reservation.state, reservation.agreement) == (3, "active", agreement)
    assert told(recipient) == ["agreed"]
    assert list(Change.objects.values_list("kind", "subject_id")) == [("offer", bargain.offer.pk)]
    events = AgreementEvent.objects.order_by("pk").values_list("kind", "actor", "created_at")
    assert list(events) == [
        ("proposed", recipient.pk, agreement.created_at),
        ("agreed", donor.pk, agreement.agreed_at),
    ]
    assert_sums_hold()


def test_the_donor_may_speak_first_and_the_taker_ticks_the_terms_then(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    proposed = propose(bargain.pairing, actor=donor)
    assert (proposed.terms, proposed.post_from) == ([], "home")
    agreed = accept(proposed)
    assert [term["code"] for term in agreed.terms] == ["tell_result", "ask_before_naming"]
    assert agreed.recipient == recipient
    assert bargain.supply().reserved == 2


def test_doses_are_never_promised_twice(bargain: Bargain, outsider: Grower) -> None:
    first = propose(bargain.pairing, doses=3)
    second = propose(bargain.wanted_by(outsider), doses=2)
    accept(first)
    error = refused(lambda: accept(second), DosesShort)
    assert error.detail == "2 doses are asked for and 1 is left."
    assert isinstance(error, DosesShort)
    assert error.left == 1
    accept(second, doses=1)
    assert (bargain.supply().reserved, bargain.supply().left) == (4, 0)
    assert_sums_hold()


def test_nobody_proposes_more_than_is_left(bargain: Bargain, outsider: Grower) -> None:
    agree(bargain.pairing, doses=4)
    other = bargain.wanted_by(outsider)
    assert (
        refused(lambda: propose(other, doses=1), DosesShort).detail == "1 dose is asked for and none is left."
    )


def test_terms_must_be_ticked_each_and_as_they_are_now(bargain: Bargain) -> None:
    assert problems(lambda: propose(bargain.pairing, terms=["tell_result"])) == {
        "/terms": "Not ticked: “Ask me before you name a seedling of it.” (ask_before_naming)."
    }
    assert problems(
        lambda: propose(bargain.pairing, terms=["tell_result", "ask_before_naming", "share_seed-12345678"])
    ) == {"/terms": "share_seed-12345678 is not among the terms; read them again, they may have changed."}


def test_across_a_border_the_donor_chooses_whose_address_the_parcel_shows(bargain: Bargain) -> None:
    proposed = propose(bargain.pairing)
    assert problems(lambda: accept(proposed, post_from="")) == {
        "/post_from": "post_from is missing; allowed: home, club, steward: customs papers usually show this"
        " name and address."
    }
    assert accept(proposed, post_from="club").post_from == "club"


def test_nobody_says_both_yeses(bargain: Bargain, donor: Grower, recipient: Grower) -> None:
    by_recipient = propose(bargain.pairing)
    error = refused(lambda: agreement_accept(actor=recipient, agreement=by_recipient), Conflict)
    assert error.detail == "You have said yes already; now it is the other's turn."


def test_to_an_outsider_there_is_neither_pairing_nor_agreement(bargain: Bargain, outsider: Grower) -> None:
    proposed = propose(bargain.pairing)
    refused(lambda: agreement_propose(actor=outsider, pairing=bargain.pairing, doses=1), NotFound)
    refused(lambda: agreement_accept(actor=outsider, agreement=proposed), NotFound)
    refused(lambda: agreement_decline(actor=outsider, agreement=proposed, reason="other"), NotFound)


def test_one_pairing_has_one_living_agreement(bargain: Bargain, donor: Grower) -> None:
    propose(bargain.pairing)
    error = refused(lambda: propose(bargain.pairing, actor=donor), Conflict)
    assert error.detail.startswith("There is an agreement or a proposal about this pairing already")


def test_a_pairing_that_no_longer_stands_is_not_agreed_to(bargain: Bargain) -> None:
    Pairing.objects.update(state="superseded")
    error = refused(lambda: propose(bargain.pairing), Conflict)
    assert error.detail == "This pairing is superseded; look for the one that stands now."


def test_more_doses_than_flowers_are_not_asked_for(bargain: Bargain) -> None:
    assert problems(lambda: propose(bargain.pairing, doses=5)) == {
        "/doses": "doses is 5; allowed: 1 to 4, one for each flower of the wanted cross."
    }


def test_declining_takes_a_reason_and_frees_nothing_that_was_not_reserved(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    proposed = propose(bargain.pairing)
    assert list(problems(lambda: agreement_decline(actor=donor, agreement=proposed, reason="done"))) == [
        "/reason"
    ]
    declined = agreement_decline(actor=donor, agreement=proposed, reason="not_in_bloom")
    assert (declined.state, declined.end_reason, declined.ended_at) == (
        "declined",
        "not_in_bloom",
        declined.changed_at,
    )
    assert told(recipient) == ["declined"]
    assert not DueTask.objects.filter(kind__startswith="agreement").exists()
    refused(lambda: accept(proposed), Conflict)


def test_a_single_yes_holds_ten_days_or_half_the_time_left(
    bargain: Bargain, outsider: Grower, recipient: Grower
) -> None:
    far = bargain.wanted_by(outsider, not_later_than=date(2027, 8, 30))
    near = bargain.wanted_by(make_grower("fourth"), not_later_than=date(2027, 7, 4))
    past = bargain.wanted_by(make_grower("fifth"), not_later_than=date(2027, 7, 1))
    proposed = [propose(pairing, doses=1) for pairing in (far, near, past)]
    waits = [agreement.lapses_at - agreement.created_at for agreement in proposed]
    # 4 July ends in Paris at 22:00 UTC: 82 hours ahead of noon on the first.
    half = (datetime(2027, 7, 4, 22, tzinfo=UTC) - proposed[1].created_at) / 2
    assert waits == [timedelta(days=10), half, timedelta(hours=12)]


def test_past_its_time_a_yes_is_too_late(bargain: Bargain, clock: MovableClock) -> None:
    proposed = propose(bargain.pairing)
    clock.set(proposed.lapses_at)
    error = refused(lambda: accept(proposed), Conflict)
    assert error.detail == "The agreement is lapsed and cannot become agreed; allowed: nothing: it is over."


def test_too_many_open_proposals_are_refused(
    bargain: Bargain, monkeypatch: pytest.MonkeyPatch, donor: Grower, outsider: Grower
) -> None:
    monkeypatch.setattr("exchange.services.agreement.MOST_OPEN_PROPOSALS", 1)
    propose(bargain.pairing, actor=donor, doses=1)
    other = bargain.wanted_by(outsider)
    assert refused(lambda: propose(other, actor=donor, doses=1), Conflict).detail.startswith("1 of your")
    assert propose(other, doses=1).state == Agreement.State.PROPOSED
