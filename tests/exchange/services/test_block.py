"""Blocking: what stands between two growers ends in ordinary words, and nothing is proposed between them."""

from collections.abc import Callable
from functools import partial

import pytest

from exchange.models import Agreement, AgreementAddress, Block, MatchingRun, Notification, Pairing
from exchange.selectors.agreement import agreements_of
from exchange.selectors.agreement_plan import next_donor
from exchange.selectors.block import notifications_open, pairs_kept_apart
from exchange.selectors.pairing import pairings_of
from exchange.selectors.wanted_cross import plants_nameable
from exchange.services.address import address_set
from exchange.services.agreement import agreement_propose
from exchange.services.agreement_change import agreement_send
from exchange.services.block import block_create, block_remove
from exchange.services.matching import matching_reckon, matching_store
from exchange.services.rescoring import rescore
from exchange.wording.notification import notification_sentence
from growers import clock as project_clock
from growers.errors import NotFound
from growers.models import Change, Grower
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_close
from tests.clock import MovableClock
from tests.exchange.bargain import (
    Bargain,
    agree,
    assert_sums_hold,
    make_bargain,
    propose,
    state_papers,
)
from tests.exchange.refusal import refused, rows
from tests.exchange.services.test_address import HOME
from tests.exchange.society import GERMANY, NOON, SUMMER, TODAY, Society, make_pairing, make_society
from tests.factories import make_offer, make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def proposed_by_donor(bargain: Bargain) -> Agreement:
    return propose(bargain.pairing, actor=bargain.donor)


def sent(bargain: Bargain) -> Agreement:
    agreement = agree(bargain.pairing)
    state_papers(agreement)
    return agreement_send(actor=bargain.donor, agreement=agreement)


HAS_ENDED = "About 'Ferry': the agreement has ended. "
ENDS = [
    (lambda b: propose(b.pairing), "declined", "other", "About 'Ferry': not this time. It does not fit this"),
    (proposed_by_donor, "ended", "withdrawn", HAS_ENDED + "The other had to step back."),
    (lambda b: agree(b.pairing), "ended", "withdrawn", HAS_ENDED + "The other had to step back."),
    (sent, "ended", "done", HAS_ENDED + "Its story is over; thank you both."),
]


@pytest.mark.parametrize(("begin", "state", "reason", "said"), ENDS)
def test_an_agreement_ends_in_ordinary_words_and_its_doses_go_back(
    bargain: Bargain,
    donor: Grower,
    recipient: Grower,
    begin: Callable[[Bargain], Agreement],
    state: str,
    reason: str,
    said: str,
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = begin(bargain)
    was_sent = bargain.supply().sent
    Notification.objects.all().delete()
    block_create(actor=donor, blocked=recipient)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.end_reason) == (state, reason)
    assert (bargain.supply().reserved, bargain.supply().sent) == (0, was_sent)
    assert not AgreementAddress.objects.exists()
    (told,) = notifications_open(recipient)
    assert notification_sentence(told).startswith(said)
    assert not notifications_open(donor).exists()
    assert_sums_hold()


def test_a_pairing_between_them_stands_no_more_from_that_moment(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock
) -> None:
    other = bargain.wanted_by(outsider)
    clock.move(hours=1)
    Change.objects.all().delete()
    block = block_create(actor=recipient, blocked=donor)
    bargain.pairing.refresh_from_db()
    other.refresh_from_db()
    assert (bargain.pairing.state, other.state) == ("superseded", "suggested")
    assert bargain.pairing.changed_at >= block.created_at
    assert set(Change.objects.values_list("kind", "subject_id")) == {
        ("grower", donor.pk),
        ("grower", recipient.pk),
    }
    assert list(pairings_of(donor)) == [other]
    assert not pairings_of(recipient).exists()


def test_neither_finds_the_other_anywhere(bargain: Bargain, donor: Grower, recipient: Grower) -> None:
    agree(bargain.pairing)
    given = bargain.offer.plant
    assert given in plants_nameable(recipient)
    block_create(actor=donor, blocked=recipient)
    for grower in (donor, recipient):
        assert not pairings_of(grower).exists()
        assert not agreements_of(grower).exists()
    assert given not in plants_nameable(recipient)
    assert bargain.pairing.wanted_cross.seed_parent in plants_nameable(recipient)
    for actor in (donor, recipient):
        refused(partial(agreement_propose, actor=actor, pairing=bargain.pairing, doses=1), NotFound)


def test_what_was_told_before_is_not_listed_and_other_news_is(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    agree(bargain.pairing)
    other = propose(bargain.wanted_by(outsider), doses=1)
    Notification.objects.create(grower=recipient, kind="pairing_proposed", pairing=bargain.pairing)
    Notification.objects.create(grower=donor, kind="pairing_proposed", pairing=bargain.pairing)
    Notification.objects.create(grower=donor, kind="offer_still_true", offer=bargain.offer)
    block_create(actor=donor, blocked=recipient)
    kept = [(row.kind, row.event and row.event.agreement) for row in notifications_open(donor).order_by("pk")]
    assert kept == [("agreement_event", other), ("offer_still_true", None)]
    assert [row.event and row.event.kind for row in notifications_open(recipient)] == ["ended"]
    block_create(actor=recipient, blocked=donor)
    assert not notifications_open(recipient).exists()


def test_the_next_donor_is_nobody_blocked(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    agreement = propose(bargain.pairing)
    elsewhere = make_offer(make_plant(outsider), countries=["DE"])
    other = make_pairing(elsewhere, bargain.pairing.wanted_cross)
    assert next_donor(agreement) == other
    block_create(actor=outsider, blocked=recipient)
    assert next_donor(agreement) is None


def test_once_more_is_no_change_but_a_handle_once_known_stays_known(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    first = block_create(actor=donor, blocked=recipient, handle_known=False)
    before = rows()
    assert block_create(actor=donor, blocked=recipient, handle_known=False) == first
    assert rows() == before
    assert block_create(actor=donor, blocked=recipient).handle_known
    assert block_create(actor=donor, blocked=recipient, handle_known=False).handle_known
    assert Block.objects.count() == 1


def test_nobody_blocks_themselves_or_somebody_who_has_left(donor: Grower, outsider: Grower) -> None:
    refused(lambda: block_create(actor=donor, blocked=donor), NotFound)
    grower_close(actor=outsider)
    outsider.refresh_from_db()
    refused(lambda: block_create(actor=donor, blocked=outsider), NotFound)


def test_only_its_grower_takes_a_block_back_and_nothing_ended_comes_back(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    agreement = agree(bargain.pairing)
    block = block_create(actor=donor, blocked=recipient)
    for other in (recipient, outsider):
        refused(partial(block_remove, actor=other, block=block), NotFound)
    Change.objects.all().delete()
    block_remove(actor=donor, block=block)
    agreement.refresh_from_db()
    assert (agreement.state, Pairing.objects.get().state) == ("ended", "superseded")
    assert set(Change.objects.values_list("subject_id", flat=True)) == {donor.pk, recipient.pk}


def test_while_both_block_each_other_one_alone_does_not_bring_them_together(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    mine = block_create(actor=donor, blocked=recipient)
    block_create(actor=recipient, blocked=donor)
    block_remove(actor=donor, block=mine)
    assert not pairings_of(donor).exists()


# --- matching ---


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


def standing() -> set[tuple[int, int]]:
    rows = Pairing.objects.filter(state="suggested")
    return set(rows.values_list("offer_id", "wanted_cross_id"))


def test_matching_proposes_nothing_between_them_until_the_block_is_taken_back(
    society: Society, donor: Grower, recipient: Grower
) -> None:
    pair = (society.offer.pk, society.wanted.pk)
    rescore(now=project_clock.now())
    assert standing() == {pair}
    block = block_create(actor=recipient, blocked=donor)
    assert pairs_kept_apart() == {pair}
    assert standing() == set()
    rescore(now=project_clock.now())
    assert standing() == set()
    assert not Change.objects.exists()
    block_remove(actor=recipient, block=block)
    rescore(now=project_clock.now())
    assert standing() == {pair}


def test_a_block_made_while_a_run_reckons_is_kept(society: Society, donor: Grower, recipient: Grower) -> None:
    reckoned = matching_reckon(today=TODAY, rule=MatchingRun.Rule.EACH_GROWER_FIRST)
    assert len(reckoned.found) == 1
    block_create(actor=donor, blocked=recipient)
    matching_store(reckoned)
    assert standing() == set()


def test_doses_go_to_whoever_is_left(
    society: Society, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    seed = make_plant(outsider, site=make_site(outsider, **GERMANY))
    bloom_said_set(actor=outsider, plant=seed, **SUMMER)
    wanted = make_wanted_cross(seed, flowers=4, least_chance=0.0007)
    rescore(now=project_clock.now())
    assert allocated() == {society.wanted.pk: 2, wanted.pk: 2}
    block_create(actor=donor, blocked=recipient)
    rescore(now=project_clock.now())
    assert allocated() == {wanted.pk: 4}


def allocated() -> dict[int, int]:
    standing = Pairing.objects.filter(state="suggested")
    return dict(standing.values_list("wanted_cross_id", "allocated_doses"))
