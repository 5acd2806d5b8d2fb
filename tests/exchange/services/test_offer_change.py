"""Upkeep of offers: what may change, doses that keep their sums, what is kept back, all of them paused."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from exchange.models import Lot, Offer, Supply
from exchange.services.agreement import agreement_decline
from exchange.services.collection import offer_collect
from exchange.services.offer import offer_close, offer_pause
from exchange.services.offer_change import (
    offer_keep_back,
    offer_still_true,
    offer_update,
    offers_pause_all,
)
from exchange.services.shortfall import offer_came_up_short
from exchange.services.supply import DosesShort
from growers.errors import Conflict, InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, agree, assert_sums_hold, make_bargain, propose
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY
from tests.factories import make_grower, make_offer, make_offer_in_hand, make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, terms=[{"code": "tell_result"}])


def counters(supply: Supply) -> tuple[int, int, int, int]:
    """Total, kept back, reserved and left."""
    supply.refresh_from_db()
    assert_sums_hold()
    return supply.total, supply.kept_back, supply.reserved, supply.left


def test_what_is_stated_changes_and_the_rest_stays(bargain: Bargain, donor: Grower) -> None:
    offer_update(
        actor=donor,
        offer=bargain.offer,
        note="in June",
        countries=["DE", "BE"],
        posts_on_saturday=True,
        packing="envelope",
        doses_per_flower=2,
    )
    offer = Offer.objects.get(pk=bargain.offer.pk)
    assert (offer.note, offer.countries, offer.posts_on_saturday) == ("in June", ["DE", "BE"], True)
    assert (offer.packing, offer.doses_per_flower, offer.doses) == ("envelope", 2, 4)
    assert (offer.terms, offer.treatment) == ([{"code": "tell_result", "key": "tell_result"}], "dried")


def test_agreed_terms_stay_as_they_were_worded(bargain: Bargain, donor: Grower, outsider: Grower) -> None:
    early, by_donor = (
        propose(bargain.pairing, doses=1),
        propose(bargain.wanted_by(outsider), actor=donor, doses=1),
    )
    offer_update(actor=donor, offer=bargain.offer, terms=[{"code": "do_not_pass_on"}])
    assert [term["code"] for term in accept(early).terms] == ["tell_result"]
    bargain.offer.refresh_from_db()
    assert problems(lambda: accept(by_donor, terms=["tell_result"])) == {
        "/terms": "tell_result is not among the terms; read them again, they may have changed."
    }
    assert [term["code"] for term in accept(by_donor, terms=["do_not_pass_on"]).terms] == ["do_not_pass_on"]


def test_more_may_be_offered_and_less_down_to_what_is_spoken_for(bargain: Bargain, donor: Grower) -> None:
    agree(bargain.pairing, doses=2)
    offer_keep_back(actor=donor, offer=bargain.offer, doses=1)
    offer_update(actor=donor, offer=bargain.offer, doses=9)
    assert counters(bargain.supply()) == (9, 1, 2, 6)
    offer_update(actor=donor, offer=bargain.offer, doses=3)
    assert counters(bargain.supply()) == (3, 1, 2, 0)
    error = refused(lambda: offer_update(actor=donor, offer=bargain.offer, doses=2), Conflict)
    assert error.detail == (
        "3 doses are promised, sent or kept back; if there is less pollen, say that it came up short."
    )


def test_what_has_run_out_is_free_again_for_fewer(
    bargain: Bargain, donor: Grower, clock: MovableClock
) -> None:
    agree(bargain.pairing, doses=4)
    clock.move(days=200)
    offer_update(actor=donor, offer=bargain.offer, doses=1)
    assert counters(bargain.supply()) == (1, 0, 0, 1)


def test_doses_of_a_lot_change_with_the_offer(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    offer = make_offer_in_hand(make_plant(donor), date(2027, 6, 28))
    offer_update(actor=donor, offer=offer, doses=7)
    lot = Lot.objects.get()
    assert (lot.doses, counters(lot.supply)) == (7, (7, 0, 0, 7))


def test_once_lots_are_collected_doses_are_said_of_them(bargain: Bargain, donor: Grower) -> None:
    offer_collect(actor=donor, offer=bargain.offer, doses=2, collected_on=TODAY, store="refrigerator")
    error = refused(lambda: offer_update(actor=donor, offer=bargain.offer, doses=9), Conflict)
    assert error.detail == "Some of it has been collected; note each lot, or say that one came up short."


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"doses": 0}, "/doses"),
        ({"doses_per_flower": 51}, "/doses_per_flower"),
        ({"countries": ["France"]}, "/countries"),
        ({"terms": [{"code": "credit"}]}, "/terms"),
        ({"note": "x" * 301}, "/note"),
        ({"packing": "bag"}, "/packing"),
    ],
)
def test_what_does_not_fit_changes_nothing(
    bargain: Bargain, donor: Grower, changes: dict[str, Any], pointer: str
) -> None:
    assert list(problems(lambda: offer_update(actor=donor, offer=bargain.offer, **changes))) == [pointer]


def test_an_offer_is_its_donors_alone(bargain: Bargain, recipient: Grower, outsider: Grower) -> None:
    agree(bargain.pairing)
    acts: list[Callable[[Grower], object]] = [
        lambda actor: offer_update(actor=actor, offer=bargain.offer, note="mine"),
        lambda actor: offer_still_true(actor=actor, offer=bargain.offer),
        lambda actor: offer_keep_back(actor=actor, offer=bargain.offer, doses=1),
    ]
    for actor in (recipient, outsider):
        for act in acts:
            refused(lambda a=actor, do=act: do(a), NotFound)  # type: ignore[misc]
        assert offers_pause_all(actor=actor) == 0
    bargain.offer.refresh_from_db()
    assert bargain.offer.state == "open"


def test_a_closed_offer_does_not_change(bargain: Bargain, donor: Grower) -> None:
    offer_close(actor=donor, offer=bargain.offer)
    for error in (
        refused(lambda: offer_update(actor=donor, offer=bargain.offer, note="again"), Conflict),
        refused(lambda: offer_still_true(actor=donor, offer=bargain.offer), Conflict),
    ):
        assert error.detail == "The offer is closed; make a new one."


# --- kept back ---


def test_what_is_kept_back_is_not_promised_and_can_be_given_after_all(
    bargain: Bargain, donor: Grower, outsider: Grower
) -> None:
    offer_keep_back(actor=donor, offer=bargain.offer, doses=3)
    assert counters(bargain.supply()) == (4, 3, 0, 1)
    refused(lambda: propose(bargain.pairing, doses=2), DosesShort)
    agree(bargain.pairing, doses=1)
    error = refused(lambda: offer_keep_back(actor=donor, offer=bargain.offer, doses=4), DosesShort)
    assert error.detail == "4 doses are asked for and 3 are left."
    offer_keep_back(actor=donor, offer=bargain.offer, doses=0)
    assert counters(bargain.supply()) == (4, 0, 1, 3)
    refused(lambda: offer_keep_back(actor=donor, offer=bargain.offer, doses=-1), InvalidInput)


def test_a_part_is_named_where_there_are_several(bargain: Bargain, donor: Grower, outsider: Grower) -> None:
    lot = offer_collect(actor=donor, offer=bargain.offer, doses=2, collected_on=TODAY, store="refrigerator")
    several = "The doses of this offer lie in several lots, or none is left; say it of one lot, or of what is"
    for act in (offer_keep_back, offer_came_up_short):
        error = refused(lambda a=act: a(actor=donor, offer=bargain.offer, doses=1), Conflict)  # type: ignore[misc]
        assert error.detail == f"{several} still to be collected."
    offer_keep_back(actor=donor, offer=bargain.offer, doses=1, part=lot)
    offer_keep_back(actor=donor, offer=bargain.offer, doses=2, part="to_be_collected")
    assert counters(lot.supply) == (2, 1, 0, 1)
    assert counters(bargain.supply()) == (2, 2, 0, 0)
    other = (
        Lot.objects.exclude(pk=lot.pk).first()
        or make_offer_in_hand(make_plant(donor), date(2027, 6, 28)).lots.get()
    )
    refused(lambda: offer_keep_back(actor=donor, offer=bargain.offer, doses=1, part=other), NotFound)


def test_one_lot_comes_up_short_and_only_its_agreements_lose(
    bargain: Bargain, donor: Grower, outsider: Grower
) -> None:
    first = agree(bargain.pairing, doses=2)
    lot = offer_collect(actor=donor, offer=bargain.offer, doses=2, collected_on=TODAY, store="refrigerator")
    second = agree(bargain.wanted_by(outsider), doses=2)
    lost = offer_came_up_short(actor=donor, offer=bargain.offer, doses=1, part=lot)
    assert [row.pk for row in lost] == [first.pk]
    assert counters(lot.supply) == (1, 0, 1, 0)
    lost = offer_came_up_short(actor=donor, offer=bargain.offer, doses=0, part="to_be_collected")
    assert [row.pk for row in lost] == [second.pk]
    second.refresh_from_db()
    assert (second.state, second.end_reason) == ("ended", "came_up_short")
    in_hand = make_offer_in_hand(make_plant(donor), date(2027, 6, 28))
    refused(
        lambda: offer_came_up_short(actor=donor, offer=in_hand, doses=1, part="to_be_collected"), NotFound
    )


# --- all at once ---


def test_all_own_open_offers_rest_with_one_action(bargain: Bargain, donor: Grower) -> None:
    plant = bargain.offer.plant
    paused, closed, theirs = (
        make_offer(plant),
        make_offer(plant),
        make_offer(make_plant(make_grower("other"))),
    )
    offer_pause(actor=donor, offer=paused)
    offer_close(actor=donor, offer=closed)
    agreement = agree(bargain.pairing)
    assert offers_pause_all(actor=donor) == 2
    assert offers_pause_all(actor=donor) == 2
    states = dict(Offer.objects.values_list("pk", "state"))
    assert states == {
        bargain.offer.pk: "paused",
        paused.pk: "paused",
        closed.pk: "closed",
        theirs.pk: "open",
    }
    agreement.refresh_from_db()
    assert agreement.state == "agreed"


def test_what_was_declined_stays_so_after_an_edit(bargain: Bargain, donor: Grower) -> None:
    declined = agreement_decline(actor=donor, agreement=propose(bargain.pairing), reason="other")
    offer_update(actor=donor, offer=bargain.offer, note="again")
    declined.refresh_from_db()
    assert declined.state == "declined"
