"""The matching run sees the deal: promised and sent doses stay, what is settled rests, lots are planned."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest

from exchange.matching.side import LotInHand
from exchange.models import Agreement, MatchingRun, Notification, Offer, Pairing, Reservation, WantedCross
from exchange.selectors.side import market
from exchange.services.agreement import agreement_decline
from exchange.services.agreement_change import agreement_end, agreement_postpone, agreement_send
from exchange.services.collection import offer_collect
from exchange.services.matching import matching_run
from exchange.services.offer_change import offer_keep_back
from growers.models import Grower
from growers.services.bloom import bloom_said_set
from tests.clock import MovableClock
from tests.exchange.bargain import agree, propose, state_papers
from tests.exchange.society import FRANCE, GERMANY, NOON, SUMMER, TODAY, make_groups
from tests.factories import make_offer, make_offer_in_hand, make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@dataclass
class Takers:
    """One offer, and two growers abroad who would take it for one flower each."""

    offer: Offer
    first: WantedCross
    second: WantedCross

    def run(self, today: date = TODAY) -> MatchingRun:
        return matching_run(today=today).run

    def pairing(self, wanted: WantedCross) -> Pairing:
        """The one that stands."""
        return Pairing.objects.get(state="suggested", offer=self.offer, wanted_cross=wanted)

    def doses(self) -> dict[int, int]:
        """Proposed and promised to each wanted cross whose pairing stands."""
        rows = Pairing.objects.filter(state="suggested", offer=self.offer)
        return dict(rows.values_list("wanted_cross", "allocated_doses"))

    def reason(self, wanted: WantedCross) -> Any:
        allocation = self.pairing(wanted).allocation
        return allocation and allocation["reason"]["code"]


@pytest.fixture
def takers(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Takers:
    clock.set(NOON)
    make_groups()
    given = make_plant(donor, site=make_site(donor, **FRANCE), name_as_grown="'Ferry'")
    offer = make_offer_in_hand(given, date(2027, 6, 28), doses=1, countries=["DE"])
    return Takers(offer, wanted_by(recipient), wanted_by(outsider))


def wanted_by(grower: Grower, *, flowers: int = 1) -> WantedCross:
    seed = make_plant(grower, site=make_site(grower, **GERMANY))
    bloom_said_set(actor=grower, plant=seed, **SUMMER)
    return make_wanted_cross(seed, flowers=flowers, least_chance=0.0)


# --- who gets what ---


def test_a_promised_dose_is_proposed_to_nobody_else_until_it_is_let_go(takers: Takers, donor: Grower) -> None:
    takers.run()
    (got,) = [wanted for wanted, doses in takers.doses().items() if doses]
    (other,) = {takers.first.pk, takers.second.pk} - {got}
    agreement = agree(takers.pairing(WantedCross.objects.get(pk=other)), doses=1)
    takers.run()
    assert takers.doses() == {other: 1, got: 0}
    assert takers.reason(WantedCross.objects.get(pk=got)) == "allocation_none_left"
    assert takers.reason(agreement.wanted_cross) is None
    agreement_postpone(actor=donor, agreement=agreement)
    takers.run()
    assert takers.doses() == {got: 1}


def test_unchanged_input_writes_no_row_and_a_promise_only_what_it_changes(takers: Takers) -> None:
    run = takers.run()
    before = {row.pk: row.input_digest for row in Pairing.objects.all()}
    assert takers.run() == run
    (got,) = [wanted for wanted, doses in takers.doses().items() if doses]
    agree(takers.pairing(WantedCross.objects.get(pk=got)), doses=1)
    takers.run()
    assert takers.doses()[got] == 1
    # A promise changes who gets what, and no plan.
    assert set(Pairing.objects.values_list("input_digest", flat=True)) == set(before.values())
    run = takers.run()
    assert takers.run() == run


def test_a_reservation_past_its_time_is_nobodys(takers: Takers) -> None:
    takers.run()
    agree(takers.pairing(takers.first), doses=1)
    Reservation.objects.update(reserved_until=NOON)
    takers.run()
    assert sum(takers.doses().values()) == 1
    assert {takers.reason(wanted) is None for wanted in (takers.first, takers.second)} == {False}


def test_doses_kept_back_are_proposed_to_nobody(takers: Takers, donor: Grower) -> None:
    offer_keep_back(actor=donor, offer=takers.offer, doses=1)
    takers.run()
    assert takers.doses() == {}


def test_flowers_that_have_pollen_promised_ask_for_no_more(takers: Takers, donor: Grower) -> None:
    second_offer = make_offer_in_hand(takers.offer.plant, date(2027, 6, 28), doses=4, countries=["DE"])
    takers.run()
    agree(takers.pairing(takers.first), doses=1)
    takers.run()
    rows = Pairing.objects.filter(state="suggested", offer=second_offer)
    assert dict(rows.values_list("wanted_cross", "allocated_doses")) == {
        takers.first.pk: 0,
        takers.second.pk: 1,
    }


# --- what was sent ---


def test_what_was_sent_is_gone_and_no_news_to_its_two(
    takers: Takers, donor: Grower, outsider: Grower
) -> None:
    takers.run()
    agreement = agree(takers.pairing(takers.first), doses=1)
    state_papers(agreement)
    agreement_send(actor=donor, agreement=agreement)
    takers.run()
    assert takers.doses() == {}
    told = Notification.objects.filter(kind="pairing_withdrawn").values_list(
        "grower", "pairing__wanted_cross"
    )
    assert sorted(told) == sorted([(donor.pk, takers.second.pk), (outsider.pk, takers.second.pk)])


def test_a_story_that_has_ended_is_not_begun_anew(takers: Takers, donor: Grower) -> None:
    offer = make_offer(takers.offer.plant, doses=4, countries=["DE"])
    bloom_said_set(actor=donor, plant=offer.plant, **SUMMER)
    takers.run()
    agreement = agree(Pairing.objects.get(state="suggested", offer=offer, wanted_cross=takers.first), doses=1)
    state_papers(agreement)
    agreement_send(actor=donor, agreement=agreement)
    takers.run()
    standing = Pairing.objects.filter(state="suggested", offer=offer)
    assert dict(standing.values_list("wanted_cross", "allocated_doses"))[takers.first.pk] == 1
    agreement_end(actor=donor, agreement=agreement)
    takers.run()
    assert [row.wanted_cross for row in standing.all()] == [takers.second]


# --- what was said no to ---


@pytest.mark.parametrize(
    ("reason", "days"),
    [
        ("not_this_year", 120),
        ("found_elsewhere", 120),
        ("other", 120),
        ("not_enough_pollen", 0),
        ("not_in_bloom", 0),
    ],
)
def test_a_no_holds_for_a_season_where_no_fact_can_change_it(
    reason: str, days: int, takers: Takers, donor: Grower
) -> None:
    takers.run()
    agreement_decline(actor=donor, agreement=propose(takers.pairing(takers.first), doses=1), reason=reason)
    news = Notification.objects.exclude(kind="agreement_event")
    before = news.count()
    takers.run()
    assert set(takers.doses()) == {takers.second.pk} | ({takers.first.pk} if not days else set())
    assert not news.filter(kind="pairing_withdrawn").exists()
    assert news.count() >= before
    Agreement.objects.update(ended_at=NOON - days * DAY)
    takers.run()
    assert set(takers.doses()) == {takers.first.pk, takers.second.pk}


def test_what_was_postponed_rests_for_half_a_year(takers: Takers, donor: Grower) -> None:
    takers.run()
    agreement_postpone(actor=donor, agreement=agree(takers.pairing(takers.first), doses=1))
    for days, rests in ((0, True), (179, True), (180, False)):
        Agreement.objects.update(ended_at=NOON - days * DAY)
        takers.run()
        assert (takers.first.pk not in takers.doses()) == rests, days


# --- lots ---


def test_whose_doses_are_in_a_lot_is_planned_with_the_lot_and_others_as_on_request(
    takers: Takers, donor: Grower
) -> None:
    offer = make_offer(takers.offer.plant, doses=4, countries=["DE"])
    bloom_said_set(actor=donor, plant=offer.plant, **SUMMER)
    takers.run()
    agree(Pairing.objects.get(state="suggested", offer=offer, wanted_cross=takers.first), doses=1)
    offer_collect(actor=donor, offer=offer, doses=1, collected_on=date(2027, 6, 28), store="refrigerator")
    takers.run()
    found = market(TODAY)
    row, on_request = found.offers[str(offer.public_id)]
    assert (on_request.lot, on_request.bloom is None, on_request.doses) == (None, False, 4)
    assert found.offer_to(row, takers.first, on_request).lot == LotInHand("refrigerator", 2)
    assert found.offer_to(row, takers.second, on_request) is on_request
    basis = {
        pairing.wanted_cross_id: pairing.plan["each_flower"]["basis"]["donor"]
        for pairing in Pairing.objects.filter(state="suggested", offer=offer)
    }
    assert basis == {takers.first.pk: "lot in hand", takers.second.pk: "said"}


def test_when_all_is_collected_everybody_is_planned_with_the_lot(takers: Takers, donor: Grower) -> None:
    offer = make_offer(takers.offer.plant, doses=4, countries=["DE"])
    offer_collect(actor=donor, offer=offer, doses=4, collected_on=date(2027, 6, 28), store="refrigerator")
    _, found = market(TODAY).offers[str(offer.public_id)]
    assert (found.lot, found.bloom, found.doses) == (LotInHand("refrigerator", 2), None, 4)
