"""A second packet in a real run: figures that the rows really give, kept while they hold, told to one."""

import json
from dataclasses import asdict, dataclass
from typing import Any

import pytest
from django.core.serializers.json import DjangoJSONEncoder

from exchange.matching.posting import recipient_flowers
from exchange.matching.second_packet import Sender, alone, sender, split
from exchange.models import MatchingRun, Offer, Pairing, Supply, WantedCross
from exchange.selectors.lane import lane
from exchange.selectors.pairing import pairings_for, pairings_of
from exchange.selectors.side import market
from exchange.services.matching import matching_run
from exchange.services.offer import offer_pause, offer_reopen
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import GERMANY, NOON, TODAY, Society, make_society
from tests.factories import make_grower, make_offer_in_hand, make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db

SAME = 1e-6


@dataclass
class Rivals:
    """Two donors for one wanted cross of four flowers: the best one, and one with older pollen."""

    society: Society
    best: Offer
    second: Offer

    @property
    def wanted(self) -> WantedCross:
        """The wanted cross."""
        return self.society.wanted

    def pairing(self, offer: Offer) -> Pairing:
        """The pairing of an offer that stands."""
        return Pairing.objects.get(offer=offer, state="suggested")

    def baskets(self, offer: Offer | None = None) -> Any:
        """Two baskets of a pairing, by default the best one."""
        return self.pairing(offer or self.best).plan["two_baskets"]

    def change(self) -> dict[str, Any] | None:
        """Smallest change of the best pairing."""
        return self.pairing(self.best).smallest_change

    def really(self, offer: Offer) -> Sender:
        """An offer laid out towards the cross, all read anew."""
        open_now = market(TODAY)
        row, given = open_now.offers[str(offer.public_id)]
        wanted_row, wanted = open_now.wanted[str(self.wanted.public_id)]
        assert wanted.bloom is not None
        ahead = recipient_flowers(wanted.bloom, TODAY)
        assert ahead is not None
        way = lane(row, row.plant.site, wanted_row.seed_parent.site, TODAY)
        return sender(given, wanted, way, TODAY, ahead)

    def promised(self, second: Offer | None, doses: tuple[int, int], whole: int) -> float:
        """At least one capsule from two packets, where one gives what its pairing says."""
        first = self.really(self.best)
        found = split(first, self.really(second) if second else first, doses)
        assert found is not None
        several: float = self.pairing(self.best).plan["several"]["estimate"]
        return several * found.at_least_one / alone(first, whole)


@pytest.fixture
def rivals(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Rivals:
    clock.set(NOON)
    society = make_society(donor, recipient)
    plant = make_plant(outsider, site=make_site(outsider, **GERMANY), name_as_grown="'Rival'")
    return Rivals(society, society.offer, make_offer_in_hand(plant, TODAY.replace(month=5)))


def run() -> MatchingRun:
    return matching_run(today=TODAY).run


def give(offer: Offer, doses: int) -> None:
    Supply.objects.filter(lot__offer=offer).update(total=doses)


# --- two baskets ---


def test_the_best_pairing_says_what_splitting_gives_and_the_other_nothing(rivals: Rivals) -> None:
    run()
    best, second = rivals.pairing(rivals.best), rivals.pairing(rivals.second)
    assert best.chance > second.chance
    baskets = best.plan["two_baskets"]
    assert baskets["doses"] == [2, 2]
    assert baskets["at_least_one_together"] == best.plan["several"]["estimate"]
    figures = {
        None: rivals.promised(None, (2, 2), 4),
        str(rivals.second.public_id): rivals.promised(rivals.second, (2, 2), 4),
    }
    better = max(figures, key=lambda key: figures[key])
    assert baskets["offer"] == better
    assert baskets["with_whom"] == ("another donor" if better else "the same donor")
    assert baskets["at_least_one_split"] == pytest.approx(figures[better], abs=SAME)
    gain = baskets["at_least_one_split"] - baskets["at_least_one_together"]
    assert baskets["gain"] == pytest.approx(gain, abs=1e-8)
    assert second.plan["two_baskets"] is None


def test_without_another_donor_it_is_the_same_donor_a_week_later(rivals: Rivals) -> None:
    offer_pause(actor=rivals.second.plant.grower, offer=rivals.second)
    run()
    baskets = rivals.baskets()
    assert (baskets["with_whom"], baskets["offer"]) == ("the same donor", None)
    assert baskets["at_least_one_split"] == pytest.approx(rivals.promised(None, (2, 2), 4), abs=SAME)
    first, then = baskets["posting"]
    assert first < then
    assert set(baskets["basis"]) == {"donor", "recipient"}


def test_a_second_offer_of_the_same_donor_is_no_other_donor(rivals: Rivals, donor: Grower) -> None:
    offer_pause(actor=rivals.second.plant.grower, offer=rivals.second)
    make_offer_in_hand(rivals.society.given, TODAY.replace(month=5), countries=["DE"])
    run()
    assert rivals.baskets()["with_whom"] == "the same donor"


@pytest.mark.parametrize("why", ["one flower", "one dose"])
def test_what_cannot_be_split_has_no_two_baskets(rivals: Rivals, why: str) -> None:
    if why == "one flower":
        WantedCross.objects.update(flowers=1)
    else:
        give(rivals.best, doses=1)
    run()
    assert "doses" not in (rivals.baskets() or {})


def test_the_same_input_again_writes_nothing_and_reckons_nothing(
    rivals: Rivals, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = run()
    before = rows()

    def never(*_: object) -> None:
        raise AssertionError("reckoned again")

    monkeypatch.setattr("exchange.services.second_packet.sender", never)
    assert run() == first
    assert rows() == before


def test_it_follows_the_offers_it_rests_on(rivals: Rivals) -> None:
    run()
    before = rivals.baskets()
    row = rivals.pairing(rivals.best)
    offer_pause(actor=rivals.second.plant.grower, offer=rivals.second)
    run()
    row.refresh_from_db()
    assert (row.state, row.plan["two_baskets"]) == ("superseded", before)
    assert rivals.baskets()["reckoned_from"] != before["reckoned_from"]
    offer_reopen(actor=rivals.second.plant.grower, offer=rivals.second)
    run()
    assert rivals.baskets() == before


def test_whoever_is_no_longer_the_best_says_nothing_any_more(rivals: Rivals) -> None:
    run()
    rivals.second.lots.update(collected_on=TODAY)
    rivals.best.lots.update(collected_on=TODAY.replace(month=3))
    run()
    assert rivals.pairing(rivals.second).chance > rivals.pairing(rivals.best).chance
    assert rivals.baskets() is None
    assert rivals.baskets(rivals.second)["doses"] == [2, 2]


# --- a second donor ---


@pytest.fixture
def short(rivals: Rivals) -> Rivals:
    """The best donor has one dose, and what is asked for is more than it gives."""
    give(rivals.best, doses=1)
    run()
    several = rivals.pairing(rivals.best).plan["several"]["estimate"]
    WantedCross.objects.filter(pk=rivals.wanted.pk).update(least_chance=several * 1.3)
    return rivals


def test_a_second_donor_is_the_smallest_change_where_only_both_reach_what_was_asked(short: Rivals) -> None:
    run()
    change = short.change()
    assert change is not None
    figures = change["parameters"]
    assert (change["code"], figures["plant"]) == ("change_second_donor", "'Rival'")
    assert figures["offer"] == str(short.second.public_id)
    assert figures["instead_of"] == short.pairing(short.best).plan["several"]["estimate"]
    assert figures["chance"] == pytest.approx(short.promised(short.second, (1, 3), 1), abs=SAME)
    assert figures["chance"] >= 1.25 * figures["instead_of"]
    assert short.pairing(short.second).smallest_change is None
    before = rows()
    run()
    assert rows() == before


def test_of_several_donors_the_one_who_helps_most(short: Rivals, recipient: Grower) -> None:
    third = make_grower("heron-weir")
    plant = make_plant(third, site=make_site(third, **GERMANY), name_as_grown="'Heron'")
    offer = make_offer_in_hand(plant, TODAY.replace(month=4), doses=4)
    run()
    change = short.change()
    assert change is not None
    figures = {str(each.public_id): short.promised(each, (1, 3), 1) for each in (short.second, offer)}
    best = max(figures, key=lambda key: figures[key])
    assert change["parameters"]["offer"] == best
    assert change["parameters"]["chance"] == pytest.approx(figures[best], abs=SAME)


@pytest.mark.parametrize("case", ["no second donor", "more than both give", "one is enough"])
def test_it_is_not_told_where_it_would_not_help(short: Rivals, case: str) -> None:
    run()
    assert short.change() is not None
    if case == "no second donor":
        offer_pause(actor=short.second.plant.grower, offer=short.second)
    else:
        least = 0.99 if case == "more than both give" else 0.0001
        WantedCross.objects.filter(pk=short.wanted.pk).update(least_chance=least)
    run()
    assert short.change() is None


def test_the_donors_read_nothing_of_each_other(short: Rivals) -> None:
    run()
    best, second = short.best, short.second
    secrets = {
        best.plant.grower: ("Rival", str(second.public_id), "second_donor", "another donor", "outsider"),
        second.plant.grower: ("Ferry", str(best.public_id), "second_donor", "another donor"),
    }
    for viewer, words in secrets.items():
        (seen,) = pairings_for(viewer, pairings_of(viewer).filter(state="suggested"))
        text = json.dumps(asdict(seen), cls=DjangoJSONEncoder, ensure_ascii=False)
        assert [word for word in words if word in text] == []
        assert (seen.two_baskets, seen.smallest_change) == (None, None)
    recipient = short.society.seed.grower
    standing = pairings_of(recipient).filter(state="suggested")
    shown = {each.offer.offer_id: each for each in pairings_for(recipient, standing)}
    found = shown[best.public_id].smallest_change
    assert found is not None
    assert found.code == "change_second_donor"


def test_another_cross_of_the_same_grower_is_left_alone(rivals: Rivals) -> None:
    other = make_wanted_cross(rivals.society.seed, pollen_plants=[rivals.second.plant], flowers=3)
    run()
    (row,) = Pairing.objects.filter(wanted_cross=other)
    assert row.plan["two_baskets"]["with_whom"] == "the same donor"
    assert row.plan["two_baskets"]["doses"] == [2, 1]
