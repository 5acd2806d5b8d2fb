"""Detours: asked for and agreed to by all three, never below what somebody asked for."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from exchange.models import Agreement, Detour, Gathering, WantedCross
from exchange.selectors.agreement_plan import standing_pairings
from exchange.services.agreement_change import agreement_withdraw
from exchange.services.detour import (
    detour_accept,
    detour_ask,
    detour_withdraw,
    detour_yes,
)
from exchange.services.gathering import gathering_close
from exchange.services.shipment import shipment_dispatch, shipment_plan
from growers.errors import Conflict, NotFound
from growers.models import Grower, Site
from tests.clock import MovableClock
from tests.exchange.bargain import agree, propose
from tests.exchange.gathered import Gathered, make_gathering
from tests.exchange.parcel import forget, told
from tests.exchange.refusal import problems, refused
from tests.exchange.society import GERMANY, NOON, TODAY, make_pairing
from tests.factories import make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db

State = Detour.State


def in_100(estimate: dict[str, Any]) -> str:
    return f"{100 * estimate['estimate']:.3g}"


# --- asked for ---


def test_it_says_what_it_costs_and_the_donor_is_asked(gathered: Gathered) -> None:
    forget()
    detour = gathered.ask()
    assert (detour.state, detour.recipient_yes_at >= NOON, detour.donor_yes_at) == ("asked", True, None)
    direct, by_way = detour.told["direct"], detour.told["by_way"]
    assert 0 < by_way["estimate"] < direct["estimate"]
    for chance in (direct, by_way):
        assert chance["low"] <= chance["estimate"] <= chance["high"]
        assert chance["basis"] == {"donor": "lot in hand", "recipient": "said"}
    assert told(gathered.donor) == [
        "recipient asks to have 'Ferry' sent by way of a steward in their country, who says that they hold a"
        " permit. Now it is your turn."
    ]
    assert told(gathered.steward) == told(gathered.recipient) == []


def test_its_plan_posts_so_that_the_steward_gets_it_in_their_days(gathered: Gathered) -> None:
    late = make_gathering(
        gathered.steward,
        site=gathered.gathering.site,
        reach_from=TODAY + timedelta(days=20),
        reach_until=TODAY + timedelta(days=40),
    )
    soon = gathered.ask().plan["dates"]
    detour_withdraw(actor=gathered.recipient, agreement=gathered.agreement)
    then = detour_ask(actor=gathered.recipient, agreement=gathered.agreement, gathering=late).plan["dates"]
    assert soon["post_on"] < "2027-07-10" <= then["post_on"] <= "2027-08-10"
    assert then["arrival_half"] > then["post_on"]


def test_only_the_recipient_asks(gathered: Gathered, outsider: Grower) -> None:
    deal, there = gathered.agreement, gathered.gathering
    error = refused(lambda: detour_ask(actor=gathered.donor, agreement=deal, gathering=there), Conflict)
    assert error.detail == "Only the recipient asks for a place in a gathering."
    for stranger in (outsider, gathered.steward):
        error = refused(lambda s=stranger: detour_ask(actor=s, agreement=deal, gathering=there), NotFound)  # type: ignore[misc]
        assert error.detail == "There is no such agreement."


def other_country(gathered: Gathered) -> None:
    Gathering.objects.update(country="NL")
    gathered.gathering.refresh_from_db()


def same_country(gathered: Gathered) -> None:
    Site.objects.filter(grower=gathered.donor).update(cell_country="DE")


CANNOT: dict[str, tuple[Callable[[Gathered], object], str]] = {
    "closed": (
        lambda g: gathering_close(actor=g.steward, gathering=g.gathering),
        "The gathering is closed; it takes in no more.",
    ),
    "ended": (
        lambda g: agreement_withdraw(actor=g.donor, agreement=g.agreement),
        "The agreement is ended; a place is asked for once both have said yes.",
    ),
    "within": (same_country, "The parcel stays within one country; it needs no steward."),
    "elsewhere": (other_country, "The gathering is in another country than your plant."),
    "twice": (lambda g: g.ask(), "A place in a gathering is asked for or agreed already."),
    "sent": (
        lambda g: shipment_dispatch(
            actor=g.donor, shipment=shipment_plan(actor=g.donor, agreement=g.agreement)
        ),
        "Something of it has been sent already; a detour is agreed before.",
    ),
}


@pytest.mark.parametrize("case", CANNOT)
def test_what_stands_against_a_place_is_said(gathered: Gathered, case: str) -> None:
    prepare, sentence = CANNOT[case]
    prepare(gathered)
    deal = Agreement.objects.get(pk=gathered.agreement.pk)
    there = Gathering.objects.get(pk=gathered.gathering.pk)
    error = refused(lambda: detour_ask(actor=gathered.recipient, agreement=deal, gathering=there), Conflict)
    assert error.detail == sentence


def test_a_single_yes_has_no_way_yet(gathered: Gathered, outsider: Grower) -> None:
    seed = make_plant(outsider, site=make_site(outsider, **GERMANY))
    proposed = propose(make_pairing(gathered.society.offer, make_wanted_cross(seed)), doses=1)
    error = refused(
        lambda: detour_ask(actor=outsider, agreement=proposed, gathering=gathered.gathering), Conflict
    )
    assert error.detail == "The agreement is proposed; a place is asked for once both have said yes."


def test_a_side_is_no_steward_of_its_own(gathered: Gathered) -> None:
    own = make_gathering(gathered.recipient, site=gathered.society.seed.site)
    error = refused(
        lambda: detour_ask(actor=gathered.recipient, agreement=gathered.agreement, gathering=own), Conflict
    )
    assert error.detail == "The steward is one of the two already; the direct way is the shorter."


def test_below_what_the_wanted_cross_asks_for_it_is_refused_with_both_numbers(gathered: Gathered) -> None:
    chance = in_100(gathered.ask().told["by_way"])
    detour_withdraw(actor=gathered.recipient, agreement=gathered.agreement)
    WantedCross.objects.update(least_chance=0.9)
    deal = Agreement.objects.get(pk=gathered.agreement.pk)
    error = refused(
        lambda: detour_ask(actor=gathered.recipient, agreement=deal, gathering=gathered.gathering), Conflict
    )
    assert error.detail == (
        f"By way of the steward each flower has a chance of {chance} in 100; the wanted cross asks for at"
        " least 90 in 100."
    )
    assert [problem.code for problem in error.problems] == ["below_wanted"]


def test_where_no_day_works_that_is_said(gathered: Gathered, clock: MovableClock) -> None:
    clock.set(NOON + timedelta(days=27))  # a parcel posted today would come after its last day
    error = refused(gathered.ask, Conflict)
    assert error.detail == (
        "By way of this gathering no day of posting works: none reaches the steward in their days and then"
        " an open flower with living pollen."
    )


# --- the donor's yes ---


def test_the_donor_says_yes_and_the_steward_hears_of_it(gathered: Gathered) -> None:
    gathered.ask()
    forget()
    detour = gathered.yes(least_chance=0.0001)
    assert (detour.state, detour.least_chance) == ("asked", 0.0001)
    assert detour.donor_yes_at is not None and detour.donor_yes_at >= detour.recipient_yes_at
    assert told(gathered.recipient) == [
        "donor says yes to sending 'Ferry' by way of the steward, who answers last."
    ]
    assert told(gathered.steward) == [
        "A place in your gathering is asked for: 2 doses of 'Ferry'. Recipient and donor have said yes; now"
        " it is your turn."
    ]


def test_the_donor_names_the_least_chance_and_less_is_refused(gathered: Gathered) -> None:
    chance = in_100(gathered.ask().told["by_way"])
    error = refused(lambda: gathered.yes(least_chance=0.5), Conflict)
    assert error.detail == (
        f"By way of the steward each flower has a chance of {chance} in 100; the donor named at least 50 in"
        " 100 for this packet."
    )
    assert [problem.code for problem in error.problems] == ["below_named"]
    found = problems(lambda: gathered.yes(least_chance=1.5))
    assert found == {"/least_chance": "least_chance is 1.5; allowed: 0 to 1."}


def test_what_the_donor_named_once_holds_for_the_next_place(gathered: Gathered) -> None:
    gathered.ask()
    gathered.yes(least_chance=0.0001)
    Detour.objects.update(least_chance=0.5)
    detour_withdraw(actor=gathered.donor, agreement=gathered.agreement)
    error = refused(gathered.ask, Conflict)
    assert "the donor named at least 50 in 100" in error.detail


def test_nobody_else_says_the_donors_yes(gathered: Gathered, outsider: Grower) -> None:
    gathered.ask()
    call = detour_yes
    error = refused(lambda: call(actor=gathered.recipient, agreement=gathered.agreement), Conflict)
    assert error.detail == "Only the donor says this yes."
    for stranger in (outsider, gathered.steward):  # the steward knows nothing of it yet
        error = refused(lambda s=stranger: call(actor=s, agreement=gathered.agreement), NotFound)  # type: ignore[misc]
        assert error.detail == "There is no such agreement."
    gathered.yes()
    error = refused(gathered.yes, Conflict)
    assert error.detail == "You have said yes already."


# --- the steward's yes ---


def test_with_the_third_yes_packets_go_by_way_of_the_steward(gathered: Gathered) -> None:
    waiting = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
    gathered.ask()
    gathered.yes()
    forget()
    detour = gathered.accept()
    assert (detour.state, detour.steward_yes_at is None) == ("agreed", False)
    waiting.refresh_from_db()
    assert (waiting.state, waiting.leg, waiting.packets.count()) == ("called_off", "direct", 0)
    sentence = (
        "The steward says yes too: 'Ferry' goes by way of them. That is no permission; ask your plant-health"
        " authority."
    )
    assert told(gathered.donor) == told(gathered.recipient) == [sentence]


def test_the_steward_answers_last(gathered: Gathered) -> None:
    gathered.ask()
    refused(gathered.accept, NotFound)
    for side in (gathered.donor, gathered.recipient):
        error = refused(lambda s=side: detour_accept(actor=s, agreement=gathered.agreement), Conflict)  # type: ignore[misc]
        assert error.detail == "Only the steward says this yes."


def test_by_then_too_little_chance_may_be_left(gathered: Gathered) -> None:
    gathered.ask()
    gathered.yes(least_chance=0.0001)
    Detour.objects.update(least_chance=0.5)
    error = refused(gathered.accept, Conflict)
    assert "the donor named at least 50 in 100" in error.detail


def test_two_agreements_share_one_gathering(gathered: Gathered, outsider: Grower) -> None:
    gathered.agree()
    seed = make_plant(outsider, site=make_site(outsider, **GERMANY), name_as_grown="another's")
    wanted = make_wanted_cross(seed, flowers=4, least_chance=0.0)
    other = agree(make_pairing(gathered.society.offer, wanted), doses=1)
    detour_ask(actor=outsider, agreement=other, gathering=gathered.gathering)
    detour_yes(actor=gathered.donor, agreement=other)
    detour_accept(actor=gathered.steward, agreement=other)
    assert gathered.gathering.detours.filter(state="agreed").count() == 2


def test_the_dates_of_the_donor_are_those_of_this_way(gathered: Gathered) -> None:
    deal = gathered.agreement
    key = deal.offer_id, deal.wanted_cross_id
    before = standing_pairings([deal])[key]
    gathered.agree()
    after = standing_pairings([deal])[key]
    dates = gathered.detour.plan["dates"]
    assert after.plan["dates"] == dates != before.plan["dates"]
    assert str(after.post_on) == dates["post_on"]
    assert after.not_later_than == gathered.detour.not_later_than
    before.refresh_from_db()
    assert before.plan["dates"] != dates  # nothing of it is stored with the pairing
