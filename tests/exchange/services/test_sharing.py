"""Doses shared out among stored pairings: what stays, who is left out and why, and what nobody may read."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pytest

from exchange.matching.allocation import Rule
from exchange.models import Offer, Pairing, WantedCross
from exchange.services.matching import matching_run
from exchange.services.sharing import Planned, Shared, share_out
from growers.models import Grower, Site
from growers.services.bloom import bloom_said_set
from growers.services.site import site_update
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import GERMANY, NOON, SUMMER, TODAY, Society, make_pairing, make_run, make_society
from tests.factories import make_grower, make_offer_in_hand, make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db

RULE: Rule = "one for each grower first"


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@dataclass
class TwoTakers:
    """One dose on offer and two growers who would take it."""

    offer: Offer
    first: WantedCross
    second: WantedCross

    def shared(self, first: float, second: float) -> Shared:
        """The dose shared out, given each one's chance."""
        planned = [Planned(self.offer, self.first, (first,)), Planned(self.offer, self.second, (second,))]
        return share_out(planned, "most capsules")

    def doses(self, shared: Shared) -> tuple[int, int]:
        """Doses of the first and of the second."""
        return shared.of(self.offer, self.first)[0], shared.of(self.offer, self.second)[0]


@pytest.fixture
def takers(society: Society, donor: Grower, outsider: Grower) -> TwoTakers:
    offer = make_offer_in_hand(society.given, TODAY, doses=1, countries=["DE"])
    first, second = (
        make_wanted_cross(make_plant(each), flowers=1) for each in (society.seed.grower, outsider)
    )
    return TwoTakers(offer, first, second)


# --- what was proposed stays ---


def test_a_proposal_stays_for_next_to_nothing_and_moves_for_something_better(takers: TwoTakers) -> None:
    assert takers.doses(takers.shared(0.30, 0.303)) == (0, 1)
    make_run()
    make_pairing(takers.offer, takers.first, allocated_doses=1)
    make_pairing(takers.offer, takers.second, allocated_doses=0)
    shared = takers.shared(0.30, 0.303)
    assert takers.doses(shared) == (1, 0)
    reason = shared.of(takers.offer, takers.second)[1]
    assert reason is not None
    assert reason["reason"]["code"] == "allocation_others_stay"
    assert takers.doses(takers.shared(0.30, 0.36)) == (0, 1)


@pytest.mark.parametrize("state", ["superseded", "dismissed"])
def test_what_no_longer_stands_has_no_such_claim(takers: TwoTakers, state: str) -> None:
    make_run()
    make_pairing(takers.offer, takers.first, allocated_doses=1, state=state)
    assert takers.doses(takers.shared(0.30, 0.303)) == (0, 1)


# --- the least chance asked for ---


@pytest.mark.parametrize(("chance", "doses"), [(0.0499, 0), (0.05, 1)])
def test_what_falls_short_of_the_least_chance_is_not_proposed(
    society: Society, chance: float, doses: int
) -> None:
    wanted = make_wanted_cross(society.seed, flowers=1, least_chance=0.05)
    shared = share_out([Planned(society.offer, wanted, (chance,))], RULE)
    told, why = shared.of(society.offer, wanted)
    assert told == doses
    assert (why is not None) is bool(doses)


def test_it_is_each_one_s_own_least_chance(takers: TwoTakers) -> None:
    """The first asks for more than the dose would give, so that it goes to the second, who gains less."""
    WantedCross.objects.filter(pk=takers.first.pk).update(least_chance=0.5)
    takers.first.refresh_from_db()
    assert takers.doses(takers.shared(0.4, 0.1)) == (0, 1)


# --- why ---


def test_who_gets_nothing_is_told_why(takers: TwoTakers) -> None:
    shared = takers.shared(0.1, 0.4)
    doses, why = shared.of(takers.offer, takers.first)
    assert doses == 0
    assert why == {
        "reason": {
            "code": "allocation_more_elsewhere",
            "parameters": {"doses": 0, "flowers": 1, "offers": 1},
        },
        "without_it": [],
        # One dose more would be this grower's.
        "one_more_dose_adds": [0.1],
    }


def test_a_pairing_without_doses_of_a_cross_that_has_some_is_not_explained(society: Society) -> None:
    worse = make_offer_in_hand(society.given, TODAY, countries=["DE"])
    chances = (0.4, 0.4, 0.4, 0.4)
    planned = [
        Planned(society.offer, society.wanted, chances),
        Planned(worse, society.wanted, tuple(chance / 2 for chance in chances)),
    ]
    shared = share_out(planned, RULE)
    assert shared.of(worse, society.wanted) == (0, None)
    doses, why = shared.of(society.offer, society.wanted)
    assert (doses, why and why["reason"]["code"]) == (4, "allocation_best")


# --- the report ---


def region_rows(shared: Shared) -> dict[str, dict[str, Any]]:
    return {row["group"]: row for row in shared.report["rows"] if row["heading"] == "region"}


def test_the_report_tells_served_and_lost_by_region(takers: TwoTakers, outsider: Grower) -> None:
    site_update(
        actor=outsider, site=outsider.sites.get(), country="ZA", latitude_deg=-33.8, longitude_deg=18.6
    )
    Site.objects.update(region_level="country")
    found = region_rows(takers.shared(0.1, 0.4))
    assert set(found) == {"DE", "ZA"}
    assert (found["ZA"]["growers_served"], found["ZA"]["expected_capsules"]) == (1, pytest.approx(0.4))
    assert (found["DE"]["growers_served"], found["DE"]["growers_with_offer"]) == (0, 1)
    lost = {group: row["possible_capsules"] - row["expected_capsules"] for group, row in found.items()}
    assert lost == {"DE": pytest.approx(0.1), "ZA": pytest.approx(0.0)}
    fair = region_rows(
        share_out(
            [
                Planned(takers.offer, takers.first, (0.1,)),
                Planned(takers.offer, takers.second, (0.4,)),
            ],
            RULE,
        )
    )
    assert sum(row["growers_served"] for row in fair.values()) == 1


def test_who_asked_and_could_not_be_helped_is_counted(society: Society) -> None:
    wanted = make_wanted_cross(society.seed, flowers=1, least_chance=0.5)
    (row,) = region_rows(share_out([Planned(society.offer, wanted, (0.1,))], RULE)).values()
    assert (row["group"], row["growers_asking"], row["growers_with_offer"]) == ("Europe", 1, 0)


@pytest.mark.parametrize(("level", "told"), [("cell", "DE"), ("country", "DE"), ("climate_band", "Europe")])
def test_no_region_of_the_report_is_finer_than_its_grower_lets_others_read(
    society: Society, level: str, told: str
) -> None:
    Site.objects.update(region_level=level)
    society.seed.grower.refresh_from_db()
    assert set(region_rows(share_out([Planned(society.offer, society.wanted, (0.1,))], RULE))) == {told}


def test_who_asked_and_nothing_was_on_offer_for_is_counted_too(takers: TwoTakers, society: Society) -> None:
    """The first has no pairing at all; beside it nothing of the sharing out changes."""
    third = make_wanted_cross(society.seed, flowers=3)
    planned = [Planned(takers.offer, takers.second, (0.4,))]
    shared = share_out(planned, RULE, asked=[takers.first, takers.second, third])
    without = share_out(planned, RULE)
    assert (shared.doses, shared.explanations) == (without.doses, without.explanations)
    counted = {
        (row["heading"], row["group"]): (
            row["growers_asking"],
            row["growers_with_offer"],
            row["growers_served"],
            row["doses"],
        )
        for row in shared.report["rows"]
    }
    assert counted == {
        ("region", "Europe"): (2, 1, 1, 1),
        ("season", "first season"): (2, 1, 1, 1),
        ("cross", "within groups"): (1, 1, 1, 1),
    }
    assert shared.report["price"] == without.report["price"]


# --- a whole run: secrets, and the same again ---


@pytest.fixture
def crowd(society: Society) -> Sequence[WantedCross]:
    """Two more growers who want of the same four doses; there is not enough for all flowers."""
    crosses = [society.wanted]
    for name in ("heron-weir", "moss-ford"):
        grower = make_grower(name)
        seed = make_plant(grower, site=make_site(grower, **GERMANY), name_as_grown=f"'Secret of {name}'")
        bloom_said_set(actor=grower, plant=seed, **SUMMER)
        crosses.append(make_wanted_cross(seed, flowers=4, least_chance=0.0007))
    last = make_grower("quiet-mill")
    seed = make_plant(last, site=make_site(last, **GERMANY), name_as_grown="'Secret of quiet-mill'")
    bloom_said_set(actor=last, plant=seed, **SUMMER)
    crosses.append(make_wanted_cross(seed, flowers=1, least_chance=0.9))
    return crosses


def stored(row: Pairing) -> str:
    """Everything of a pairing that is kept as JSON."""
    columns = [
        field.attname for field in Pairing._meta.concrete_fields if field.get_internal_type() == "JSONField"
    ]
    assert {"plan", "reasons", "cautions", "papers", "allocation", "timeline"} <= set(columns)
    return json.dumps({name: getattr(row, name) for name in columns})


def test_what_is_stored_of_a_pairing_holds_nothing_of_other_crosses(crowd: Sequence[WantedCross]) -> None:
    pairings = matching_run(today=TODAY).pairings
    assert {row.wanted_cross_id for row in pairings} == {wanted.pk for wanted in crowd}
    assert sum(row.allocated_doses for row in pairings) == 4
    explained = [row for row in pairings if row.allocation]
    assert len(explained) == 3
    for row in pairings:
        text = stored(row)
        for wanted in crowd:
            grower, seed = wanted.seed_parent.grower, wanted.seed_parent
            for secret in (wanted.public_id, grower.public_id, seed.public_id):
                assert str(secret) not in text
            # The handle of the first is a word of plans.
            assert grower.handle == "recipient" or grower.handle not in text
            if wanted.pk != row.wanted_cross_id:
                assert seed.name_as_grown not in text
    for row in explained:
        assert row.allocation is not None
        assert set(row.allocation) == {"reason", "without_it", "one_more_dose_adds"}


def test_the_same_input_again_leaves_every_row_as_it_was(crowd: Sequence[WantedCross]) -> None:
    first = matching_run(today=TODAY)
    before = rows()
    second = matching_run(today=TODAY)
    assert rows() == before
    assert second.run == first.run
    assert [(row.pk, row.allocated_doses, row.allocation) for row in second.pairings] == [
        (row.pk, row.allocated_doses, row.allocation) for row in first.pairings
    ]


def test_a_cross_that_nothing_is_on_offer_for_changes_the_report_and_no_pairing(
    society: Society, outsider: Grower
) -> None:
    first = matching_run(today=TODAY)
    before = list(Pairing.objects.values())
    make_wanted_cross(make_plant(outsider, site=make_site(outsider, **GERMANY)), pollen_groups=["lotos"])
    second = matching_run(today=TODAY)
    assert list(Pairing.objects.values()) == before
    asking = [
        sum(row["growers_asking"] for row in result.run.report["rows"] if row["heading"] == "season")
        for result in (first, second)
    ]
    assert asking == [1, 2]
    assert (second.run.written, second.run.superseded) == (0, 0)
    assert matching_run(today=TODAY).run == second.run
