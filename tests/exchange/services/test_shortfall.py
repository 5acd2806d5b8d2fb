"""Less pollen than promised: what was kept back goes first, then by the order in which it was agreed."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.models import Agreement, MatchingRun, Reservation
from exchange.services.shortfall import offer_came_up_short, shares_of
from exchange.services.supply import kept_back_set
from growers.errors import InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, assert_sums_hold, make_bargain
from tests.exchange.refusal import refused
from tests.exchange.society import NOON, make_run
from tests.factories import make_grower


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, doses=8)


def three_agreed(bargain: Bargain, outsider: Grower) -> list[Agreement]:
    """Three growers who agreed one after another: on 3, 2 and 2 doses."""
    first = agree(bargain.pairing, doses=3)
    second = agree(bargain.wanted_by(outsider), doses=2)
    return [first, second, agree(bargain.wanted_by(make_grower("third")), doses=2)]


def states(agreements: Sequence[Agreement]) -> list[tuple[str, int]]:
    for agreement in agreements:
        agreement.refresh_from_db()
    active = Reservation.objects.filter(state="active")
    doses = {row.agreement_id: row.doses for row in active}
    return [(row.state, doses.get(row.pk, 0)) for row in agreements]


@pytest.mark.django_db
def test_each_grower_keeps_one_dose_before_anybody_keeps_a_second(bargain: Bargain, outsider: Grower) -> None:
    agreements = three_agreed(bargain, outsider)
    lost = offer_came_up_short(actor=bargain.donor, offer=bargain.offer, doses=4)
    assert states(agreements) == [("agreed", 2), ("agreed", 1), ("agreed", 1)]
    assert {row.pk for row in lost} == {row.pk for row in agreements}
    assert_sums_hold()
    supply = bargain.supply()
    assert (supply.total, supply.reserved, supply.left) == (4, 4, 0)


@pytest.mark.django_db
def test_where_most_capsules_was_the_rule_the_earlier_agreement_keeps_all(
    bargain: Bargain, outsider: Grower
) -> None:
    make_run(rule=MatchingRun.Rule.MOST_CAPSULES)
    agreements = three_agreed(bargain, outsider)
    offer_came_up_short(actor=bargain.donor, offer=bargain.offer, doses=4)
    assert states(agreements) == [("agreed", 3), ("agreed", 1), ("ended", 0)]
    assert agreements[2].end_reason == "came_up_short"
    assert_sums_hold()


@pytest.mark.django_db
def test_what_was_kept_back_goes_first(bargain: Bargain) -> None:
    agreement = agree(bargain.pairing, doses=3)
    supply = bargain.supply()
    kept_back_set(supply, 4)
    lost = offer_came_up_short(actor=bargain.donor, offer=bargain.offer, doses=5)
    supply.refresh_from_db()
    assert (lost, supply.total, supply.kept_back, supply.reserved) == ([], 5, 2, 3)
    assert states([agreement]) == [("agreed", 3)]
    assert_sums_hold()


@pytest.mark.django_db
def test_no_pollen_at_all_ends_every_agreement_kindly(bargain: Bargain, outsider: Grower) -> None:
    agreements = three_agreed(bargain, outsider)
    offer_came_up_short(actor=bargain.donor, offer=bargain.offer, doses=0)
    assert states(agreements) == [("ended", 0)] * 3
    assert bargain.supply().total == 0


@pytest.mark.django_db
@pytest.mark.parametrize("doses", [8, 9, -1])
def test_short_is_fewer_than_there_were(bargain: Bargain, doses: int) -> None:
    error = refused(
        lambda: offer_came_up_short(actor=bargain.donor, offer=bargain.offer, doses=doses), InvalidInput
    )
    assert error.detail == f"doses is {doses}; allowed: 0 to 7, fewer than there were."


@pytest.mark.django_db
def test_nobody_else_says_what_a_donor_has(bargain: Bargain, recipient: Grower, outsider: Grower) -> None:
    agree(bargain.pairing)
    for actor in (recipient, outsider):
        refused(lambda a=actor: offer_came_up_short(actor=a, offer=bargain.offer, doses=1), NotFound)  # type: ignore[misc]


def promised(doses: Sequence[tuple[int, int]]) -> list[Reservation]:
    """Reservations of growers by number, in the order in which they were agreed."""
    return [Reservation(agreement=Agreement(recipient_id=grower), doses=number) for grower, number in doses]


@given(
    st.lists(st.tuples(st.integers(1, 5), st.integers(1, 6)), max_size=8),
    st.integers(0, 40),
    st.booleans(),
)
def test_shares_use_up_what_is_there_and_follow_the_rule(
    doses: list[tuple[int, int]], there: int, one_each: bool
) -> None:
    rows = promised(doses)
    kept = [share for _, share in shares_of(rows, there, one_each=one_each)]
    assert sum(kept) == min(there, sum(number for _, number in doses))
    assert all(0 <= share <= row.doses for share, row in zip(kept, rows, strict=True))
    first_of = {grower: index for index, (grower, _) in reversed(list(enumerate(doses)))}
    if one_each and any(kept[index] == 0 for index in first_of.values()):
        assert all(share <= 1 for share in kept)
        assert all(kept[index] == 0 for index in range(len(rows)) if index not in first_of.values())
    if not one_each:
        cut = next((index for index, row in enumerate(rows) if kept[index] < row.doses), len(rows))
        assert all(share == 0 for share in kept[cut + 1 :])
