"""The matching run on the real database: what it stores, what it leaves alone, and whom it concerns."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import MatchingRun, Offer, Pairing, WantedCross
from exchange.services.matching import RunResult, matching_run
from exchange.services.offer import offer_pause, offer_reopen
from exchange.services.wanted_cross import wanted_cross_pause
from growers.models import Grower, Plant
from growers.services.bloom import bloom_said_set
from growers.services.plant import plant_update
from growers.services.site import SiteFields, site_update
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.factories import (
    make_offer,
    make_offer_in_hand,
    make_plant,
    make_site,
    make_taxon,
    make_wanted_cross,
)

pytestmark = pytest.mark.django_db

TODAY = date(2027, 7, 1)
INVENTED = {"source": "invented for a test", "status": "judgement"}
FRANCE: SiteFields = {"country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
GERMANY: SiteFields = {"country": "DE", "latitude_deg": 48.25, "longitude_deg": 11.75}
SUMMER: dict[str, Any] = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}


@dataclass
class Society:
    """A donor with pollen in hand, a recipient abroad whose plant flowers, and nobody else."""

    given: Plant
    offer: Offer
    seed: Plant
    wanted: WantedCross


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))
    for group, diel in (("hardy", "day"), ("lotos", "night"), ("nelumbo", "day")):
        make_taxon(name=group, rank="group", group=group, diel=diel)
    given = make_plant(donor, site=make_site(donor, **FRANCE), name_as_grown="'Ferry'")
    seed = make_plant(recipient, site=make_site(recipient, **GERMANY), name_as_grown="'Dusk'")
    bloom_said_set(actor=recipient, plant=seed, **SUMMER)
    offer = make_offer_in_hand(given, date(2027, 6, 28), countries=["DE"])
    return Society(given, offer, seed, make_wanted_cross(seed))


def run(today: date = TODAY) -> RunResult:
    return matching_run(today=today)


def codes(result: RunResult) -> list[list[str]]:
    return [[reason.code for reason in refused.reasons] for refused in result.refused]


# --- what is stored ---


def test_a_pairing_is_stored_with_its_plan(society: Society) -> None:
    result = run()
    (pairing,) = result.pairings
    stored = Pairing.objects.get()
    assert stored == pairing
    assert (stored.offer_id, stored.wanted_cross_id) == (society.offer.pk, society.wanted.pk)
    assert (stored.state, stored.run_id) == ("suggested", result.run.pk)
    assert stored.chance == stored.plan["each_flower"]["estimate"]
    assert 0.0 < stored.plan["each_flower"]["low"] < stored.chance < stored.plan["each_flower"]["high"] < 1.0
    assert stored.plan["basis"] == {"donor": "lot in hand", "recipient": "said"}
    assert stored.post_on is not None
    assert stored.post_on.isoformat() == stored.plan["dates"]["post_on"]
    assert TODAY <= stored.post_on <= TODAY + timedelta(days=7)
    assert stored.papers == {
        "code": "papers_nothing_on_file",
        "parameters": {"origin": "FR", "destination": "DE"},
    }
    assert [reason["code"] for reason in stored.reasons] == ["groups_on_record"]
    assert "viability_prior_only" in [caution["code"] for caution in stored.cautions]
    assert (result.run.considered, result.run.proposed, result.run.written) == (1, 1, 1)
    assert result.run.superseded == 0
    assert result.run.finished_at is not None


def test_pairings_stand_best_first(society: Society, donor: Grower) -> None:
    old = make_offer_in_hand(society.given, date(2027, 3, 1), countries=["DE"])
    first, second = run().pairings
    assert (first.offer_id, second.offer_id) == (society.offer.pk, old.pk)
    assert first.chance > second.chance


# --- the same again ---


def test_the_same_input_again_writes_nothing(society: Society) -> None:
    first = run()
    before = rows()
    with CaptureQueriesContext(connection) as queries:
        second = run()
    assert rows() == before
    writing = [query["sql"] for query in queries if query["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]
    assert writing == []
    assert second.run == first.run
    assert second.pairings == first.pairings


# --- changed input ---


def change_said(society: Society) -> None:
    bloom_said_set(actor=society.seed.grower, plant=society.seed, **SUMMER | {"first_month": 7})


def change_place(society: Society) -> None:
    site_update(actor=society.given.grower, site=society.given.site, latitude_deg=43.3, longitude_deg=5.4)


def change_pedigree(society: Society) -> None:
    parent = make_plant(society.seed.grower)
    plant_update(actor=society.seed.grower, plant=society.seed, pollen_parent=parent)
    plant_update(
        actor=society.given.grower, plant=society.given, pollen_parent=parent, shown_plant_ids=[parent.pk]
    )


CHANGES = {"what was said": change_said, "another cell": change_place, "kinship": change_pedigree}


@pytest.mark.parametrize("case", CHANGES)
def test_a_changed_fact_supersedes_and_deletes_nothing(society: Society, case: str) -> None:
    (old,) = run().pairings
    CHANGES[case](society)
    result = run()
    (new,) = result.pairings
    old.refresh_from_db()
    assert (old.state, new.state) == ("superseded", "suggested")
    assert new.pk != old.pk
    assert (result.run.written, result.run.superseded) == (1, 1)
    assert Pairing.objects.count() == MatchingRun.objects.count() == 2


def test_what_the_change_does_not_touch_stays_as_it_is(society: Society, recipient: Grower) -> None:
    first = run()
    before = list(Pairing.objects.values())
    lotus = make_wanted_cross(make_plant(recipient, group="nelumbo", diel="day"), pollen_groups=["lotos"])
    second = run()
    assert codes(second) == [["not_asked_for", "groups_refused", "seed_parent_bloom_unknown"]]
    assert {refused.wanted_cross.pk for refused in second.refused} == {lotus.pk}
    assert list(Pairing.objects.values()) == before
    assert second.pairings == first.pairings


@pytest.mark.parametrize("side", ["offer", "wanted cross"])
def test_what_is_no_longer_open_is_superseded_and_comes_back_anew(society: Society, side: str) -> None:
    (old,) = run().pairings
    if side == "offer":
        offer_pause(actor=society.given.grower, offer=society.offer)
    else:
        wanted_cross_pause(actor=society.seed.grower, wanted_cross=society.wanted)
    assert run().pairings == ()
    old.refresh_from_db()
    assert old.state == "superseded"
    if side == "offer":
        offer_reopen(actor=society.given.grower, offer=society.offer)
        (again,) = run().pairings
        assert (again.pk != old.pk, again.chance) == (True, old.chance)


# --- who is paired with whom ---


def test_a_growers_own_plants_are_not_paired(society: Society) -> None:
    own = make_offer_in_hand(make_plant(society.seed.grower), TODAY)
    result = run()
    assert own.pk not in {pairing.offer_id for pairing in result.pairings}
    assert own.pk not in {refused.offer.pk for refused in result.refused}


def test_what_cannot_be_is_refused_with_its_reasons(society: Society, donor: Grower) -> None:
    lotus = make_offer_in_hand(make_plant(donor, group="nelumbo", diel="day"), TODAY, countries=["DE"])
    here = make_offer_in_hand(society.given, TODAY, countries=[])
    sterile = make_taxon(
        name="Nymphaea 'Mule'",
        pollen_fertility="no",
        sources=dict.fromkeys(("group", "flower", "fertility"), INVENTED),
    )
    mule = make_offer(make_plant(donor, taxon=sterile), countries=["DE"])
    result = run()
    found = {refused.offer.pk: [reason.code for reason in refused.reasons] for refused in result.refused}
    assert found == {
        lotus.pk: ["groups_refused"],
        here.pk: ["country_not_shipped_to"],
        mule.pk: ["sterile_pollen_parent"],
    }
    assert {refused.wanted_cross.pk for refused in result.refused} == {society.wanted.pk}
    assert (result.run.considered, result.run.proposed) == (4, 1)


def test_a_plant_whose_bloom_nobody_knows_is_refused_with_that_reason(
    society: Society, recipient: Grower
) -> None:
    glass = make_site(recipient, **GERMANY | SiteFields(name="glass", water="glass"))
    make_wanted_cross(make_plant(recipient, site=glass))
    result = run()
    assert codes(result) == [["seed_parent_bloom_unknown"]]
    assert len(result.pairings) == 1


def test_an_outsider_changes_nothing_and_is_in_nothing(society: Society, outsider: Grower) -> None:
    before = run()
    plant = make_plant(outsider, site=make_site(outsider, **FRANCE))
    bloom_said_set(actor=outsider, plant=plant, **SUMMER)
    after = run()
    assert (after.run, after.pairings, after.refused) == (before.run, before.pairings, before.refused)
    told = str([pairing.plan for pairing in after.pairings])
    assert str(plant.public_id) not in told
    assert outsider.handle not in told


def test_progress_is_told_for_each_wanted_cross(society: Society) -> None:
    make_wanted_cross(society.seed, pollen_groups=["lotos"])
    told: list[tuple[int, int]] = []
    matching_run(today=TODAY, progress=lambda done, of: told.append((done, of)))
    assert told == [(1, 2), (2, 2)]
