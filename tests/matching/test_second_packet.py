"""A second packet: what it promises by itself, and what two of them promise together."""

from dataclasses import replace
from datetime import timedelta

import pytest

from exchange.matching import posting
from exchange.matching.plan import pair_chance
from exchange.matching.second_packet import LATER_DAYS, Sender, alone, sender, shared_between, split
from tests.matching.instance import Instance, random_pair


def of(pair: Instance) -> Sender:
    assert pair.flowers is not None
    return sender(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)


def with_pollen(in_hand: bool) -> Instance:
    """A random pair that can work, in flower for long enough, with pollen in hand or on request."""
    for seed in range(100):
        pair = random_pair(seed)
        fits = (pair.offer.lot is not None) is in_hand and pair.flowers is not None
        if fits and pair_chance(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers) > 0.02:
            return pair
    raise AssertionError("No such pair was drawn.")


@pytest.fixture(scope="module")
def in_hand() -> Sender:
    return of(with_pollen(True))


@pytest.fixture(scope="module")
def on_request() -> Sender:
    return of(with_pollen(False))


def test_all_of_a_packet_in_hand_arrives_but_what_the_post_loses(in_hand: Sender) -> None:
    packet = in_hand.first_packet
    assert packet is not None
    arrives = sum(way.chance for way in packet.arrivals)
    assert len(packet.arrivals) == 15
    assert arrives == pytest.approx(1.0 - in_hand.lane.transit.lost_probability, abs=1e-9)


def test_a_packet_on_request_promises_what_its_pairing_does(on_request: Sender) -> None:
    """As much rarer than one posted on that day as following the donor's table is worth less."""
    packet = on_request.first_packet
    assert packet is not None
    policy = posting.follow(on_request.offer, on_request.lane, on_request.course, on_request.value)
    worth = float(on_request.value.by_rest[packet.day, 0])
    delivered = sum(way.chance for way in packet.arrivals) / (1.0 - on_request.lane.transit.lost_probability)
    assert delivered * worth == pytest.approx(policy.value, rel=1e-9)


@pytest.mark.parametrize("in_hand", [True, False])
def test_one_dose_alone_is_the_chance_of_each_flower(in_hand: bool) -> None:
    """But for the sample: 128 draws and 8 of the recipient's seasons instead of all."""
    pair = with_pollen(in_hand)
    expected = pair_chance(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    assert alone(of(pair), 1) == pytest.approx(expected, rel=0.25)


@pytest.mark.parametrize("in_hand", [True, False])
def test_two_donors_alike_insure_each_other(in_hand: bool) -> None:
    """The same flowers, the same pollen, another parcel: never worse than one packet with both doses."""
    pair = with_pollen(in_hand)
    first, other = of(pair), of(pair)
    found = split(first, other, (1, 1))
    assert found is not None
    assert found.days[0] == found.days[1]
    assert found.at_least_one > alone(first, 2) > alone(first, 1)


def test_the_second_packet_of_one_donor_goes_a_week_later(in_hand: Sender, on_request: Sender) -> None:
    for each in (in_hand, on_request):
        found = split(each, each, (1, 1))
        assert found is not None
        assert found.days[1] - found.days[0] >= timedelta(days=LATER_DAYS)
        later = each.course.days.is_open[(found.days[1] - each.course.today).days]
        assert later
        assert found.at_least_one > alone(each, 1)


def test_after_the_last_flower_there_is_no_second_packet(in_hand: Sender) -> None:
    over = in_hand.value.mean.size
    assert in_hand.packet(over) is None
    nothing = replace(in_hand, value=posting.Value(in_hand.value.by_rest * 0.0, in_hand.value.mean * 0.0))
    assert alone(nothing, 2) == 0.0
    assert split(nothing, in_hand, (1, 1)) is None
    assert split(in_hand, nothing, (1, 1)) is None


@pytest.mark.parametrize(
    ("total", "first", "second", "doses"),
    [
        (4, 9, 9, (2, 2)),
        (3, 9, 9, (2, 1)),
        (4, 1, 9, (1, 3)),
        (4, 9, 1, (3, 1)),
        (4, 1, 1, (1, 1)),
        (1, 9, 9, None),
    ],
)
def test_doses_are_halved_as_far_as_both_have_them(
    total: int, first: int, second: int, doses: tuple[int, int] | None
) -> None:
    assert shared_between(total, first, second) == doses


def test_what_both_packets_share_makes_independence_overstate() -> None:
    """One pond, one pair of plants: the product of two chances of failure is too small."""
    pair = with_pollen(True)
    first, other = of(pair), of(pair)
    found = split(first, other, (2, 2))
    assert found is not None
    independent = 1.0 - (1.0 - alone(first, 2)) * (1.0 - alone(other, 2))
    assert independent > found.at_least_one + 0.01
