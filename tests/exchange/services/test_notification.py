"""Who is told what: one event once, nothing of what does not matter, and drift against the last word."""

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from exchange.matching.chance import Estimate
from exchange.models import Notification, Pairing, WantedCross
from exchange.services.notification import pairings_tell
from exchange.services.offer import offer_pause
from exchange.services.wanted_cross import wanted_cross_close
from growers.models import Grower
from growers.services.grower import grower_close
from tests.clock import MovableClock
from tests.exchange.plan import planned_dates
from tests.exchange.society import NOON, Society, make_pairing, make_society

pytestmark = pytest.mark.django_db

POST_ON = date(2026, 6, 18)


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


def told() -> Counter[tuple[str, str]]:
    return Counter(Notification.objects.values_list("grower__handle", "kind"))


def both(kind: str) -> Counter[tuple[str, str]]:
    return Counter({("donor", kind): 1, ("recipient", kind): 1})


def follows(society: Society, before: Pairing, **changes: Any) -> Pairing:
    """The next pairing of the two, as a run would put it in the place of the one before."""
    Pairing.objects.filter(pk=before.pk).update(state="superseded")
    pairing = make_pairing(society.offer, society.wanted, **changes)
    pairings_tell(fresh=[pairing], gone=[])
    return pairing


def proposed(society: Society, **changes: Any) -> Pairing:
    pairing = make_pairing(society.offer, society.wanted, **changes)
    pairings_tell(fresh=[pairing], gone=[])
    return pairing


def test_a_new_pairing_is_told_to_its_two_growers_once(society: Society, outsider: Grower) -> None:
    pairing = proposed(society)
    pairings_tell(fresh=[pairing], gone=[])
    assert told() == both("pairing_proposed")
    assert {row.pairing_id for row in Notification.objects.all()} == {pairing.pk}
    assert {(row.created_at >= NOON, row.read_at) for row in Notification.objects.all()} == {(True, None)}


def test_what_is_below_the_least_chance_is_not_pushed_on_anybody(society: Society) -> None:
    WantedCross.objects.update(least_chance=0.13)
    proposed(society)
    assert told() == {}
    WantedCross.objects.update(least_chance=0.12)
    Pairing.objects.update(state="superseded")
    proposed(society)
    assert told() == both("pairing_proposed")


def shifted(days: int, **changes: Any) -> dict[str, Any]:
    moved = POST_ON + timedelta(days=days)
    return {"plan": {"dates": planned_dates(post_on=moved), **changes}}


CASES: dict[str, tuple[dict[str, Any], bool]] = {
    "the same": ({}, False),
    "a day later": (shifted(1), False),
    "two days later": (shifted(2), True),
    "two days earlier": (shifted(-2), True),
    "two days, where weeks are named": (shifted(2, precision="season"), False),
    "two weeks, where weeks are named": (shifted(14, precision="season"), True),
    "a later deadline": (
        {"plan": {"dates": planned_dates(not_later_than=date(2026, 6, 27))}},
        True,
    ),
    "no deadline any more": ({"plan": {"dates": planned_dates(not_later_than=None)}}, True),
    "no day any more": ({"plan": {"dates": None}}, True),
    "more doses": ({"allocated_doses": 3}, True),
    "a little more likely": ({"plan": {"each_flower": Estimate(0.17, 0.1, 0.2)}}, False),
    "much more likely": ({"plan": {"each_flower": Estimate(0.19, 0.1, 0.3)}}, True),
    "much less likely": ({"plan": {"each_flower": Estimate(0.07, 0.0, 0.1)}}, True),
    "not possible any more": ({"plan": {"each_flower": Estimate(0.0, 0.0, 0.0)}}, True),
}


@pytest.mark.parametrize("case", CASES)
def test_a_change_is_told_if_it_matters(society: Society, case: str) -> None:
    changes, matters = CASES[case]
    follows(society, proposed(society), **changes)
    assert told() == both("pairing_proposed") + (both("pairing_changed") if matters else Counter())


def test_send_at_once_is_another_day_each_day_and_no_news(society: Society) -> None:
    def at_once(days: int) -> dict[str, Any]:
        return {"dates": replace(planned_dates(send_at_once=True), post_on=POST_ON + timedelta(days=days))}

    follows(society, proposed(society, plan=at_once(0)), plan=at_once(5))
    assert told() == both("pairing_proposed")


def test_a_slow_drift_is_told_once_it_matters(society: Society) -> None:
    pairing = proposed(society)
    for days in (1, 2, 3, 4):
        pairing = follows(society, pairing, **shifted(days))
    changed = Notification.objects.filter(kind="pairing_changed", grower__handle="donor")
    assert [row.pairing and row.pairing.post_on for row in changed.order_by("pk")] == [
        POST_ON + timedelta(days=2),
        POST_ON + timedelta(days=4),
    ]


def test_what_is_withdrawn_is_told_if_it_had_been_told_and_may_come_back(society: Society) -> None:
    pairing = proposed(society)
    pairings_tell(fresh=[], gone=[pairing])
    assert told() == both("pairing_proposed") + both("pairing_withdrawn")
    Pairing.objects.update(state="superseded")
    pairings_tell(fresh=[], gone=[pairing])
    assert told() == both("pairing_proposed") + both("pairing_withdrawn")
    proposed(society)
    assert told()["donor", "pairing_proposed"] == 2


def test_what_was_never_told_is_not_withdrawn(society: Society) -> None:
    pairings_tell(fresh=[], gone=[make_pairing(society.offer, society.wanted)])
    assert told() == {}


@pytest.mark.parametrize("side", ["offer", "wanted cross"])
def test_nobody_is_told_of_what_they_did_themselves(society: Society, side: str) -> None:
    pairing = proposed(society)
    if side == "offer":
        offer_pause(actor=society.given.grower, offer=society.offer)
    else:
        wanted_cross_close(actor=society.seed.grower, wanted_cross=society.wanted)
    pairing = Pairing.objects.get(pk=pairing.pk)
    pairings_tell(fresh=[], gone=[pairing])
    other = "recipient" if side == "offer" else "donor"
    assert told() - both("pairing_proposed") == {(other, "pairing_withdrawn"): 1}


def test_a_closed_account_is_told_nothing(society: Society) -> None:
    grower_close(actor=society.seed.grower)
    pairing = make_pairing(society.offer, society.wanted)
    pairings_tell(fresh=[Pairing.objects.get(pk=pairing.pk)], gone=[])
    assert told() == {("donor", "pairing_proposed"): 1}


def test_telling_many_costs_as_many_queries_as_telling_one(
    society: Society, django_assert_num_queries: Any
) -> None:
    proposed(society, state="superseded")
    keys = [make_pairing(society.offer, society.wanted, state="superseded").pk for _ in range(20)]
    joined = Pairing.objects.select_related("offer__plant__grower", "wanted_cross__seed_parent__grower")
    rows = list(joined.filter(pk__in=keys))
    for some in (rows[:1], rows):
        with django_assert_num_queries(2):  # what was told before; nothing here is worth a row
            pairings_tell(fresh=some, gone=[])
