"""A pairing for each of its two growers: the breeder's secret stays one, and nobody's place is told."""

import json
from dataclasses import asdict, replace
from datetime import date
from typing import Any, cast
from uuid import UUID

import pytest
from django.core.serializers.json import DjangoJSONEncoder

from exchange.matching.donor_flowers import DonorFlowers as MatchingFlowers
from exchange.models import Pairing
from exchange.selectors.pairing import (
    DonorFlowers,
    PairingForViewer,
    TwoBaskets,
    pairings_for,
    pairings_of,
)
from growers.models import Grower, Site
from growers.services.taxon import taxon_update
from tests.clock import MovableClock
from tests.exchange.plan import RARELY
from tests.exchange.society import (
    NOON,
    SECRET_NAME,
    TIMELINE,
    Society,
    make_pairing,
    make_society,
)
from tests.factories import make_taxon

pytestmark = pytest.mark.django_db


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@pytest.fixture
def pairing(society: Society) -> Pairing:
    return make_pairing(society.offer, society.wanted)


def seen_by(viewer: Grower) -> PairingForViewer:
    (seen,) = pairings_for(viewer, pairings_of(viewer))
    return seen


def text_of(seen: PairingForViewer) -> str:
    return json.dumps(asdict(seen), cls=DjangoJSONEncoder, ensure_ascii=False)


def test_the_recipient_reads_all_of_their_own_and_of_the_offer_what_others_may(
    society: Society, pairing: Pairing
) -> None:
    seen = seen_by(society.seed.grower)
    assert (seen.public_id, seen.role, seen.state) == (pairing.public_id, "recipient", "suggested")
    assert (seen.offer.donor, seen.offer.plant.name_as_grown) == ("donor", "'Ferry'")
    assert seen.wanted.wanted_cross_id == society.wanted.public_id
    assert (seen.wanted.seed_parent_id, seen.wanted.seed_parent_name) == (society.seed.public_id, SECRET_NAME)
    assert [reason.code for reason in seen.reasons] == [
        "groups_on_record",
        "poor_seed_parent",
        "poor_pollen_parent",
    ]
    assert [caution.code for caution in seen.cautions] == [
        "kinship_self",
        "offspring_ploidy_weak",
        "other_direction",
        "viability_prior_only",
        "below_least_chance",
    ]
    assert seen.allocation_reason is not None
    assert seen.allocation_reason.detail == "The best that was on offer for it."
    assert seen.compatibility is not None
    assert (seen.each_flower.estimate, seen.each_flower.low, seen.each_flower.high) == (0.12, 0.03, 0.31)
    assert seen.words.chance.startswith("each flower about 1 in 8 (12 %, likely range 3.0 % to 31 %)")
    assert seen.words.posting == "best on Thu 18 June, not later than Thu 25 June"
    assert seen.timeline == TIMELINE
    assert seen.smallest_change is not None
    assert (
        seen.smallest_change.detail
        == "With a Saturday service: each flower about 1 in 5 instead of about 1 in 8."
    )


def test_the_donor_reads_that_someone_would_like_pollen_and_not_for_what(
    society: Society, pairing: Pairing
) -> None:
    seen = seen_by(society.given.grower)
    assert seen.role == "donor"
    assert seen.wanted.region.climate_band == "northern temperate"
    assert (seen.wanted.wanted_cross_id, seen.wanted.seed_parent_id, seen.wanted.seed_parent_name) == (
        None,
        None,
        None,
    )
    assert [reason.code for reason in seen.reasons] == ["poor_pollen_parent"]
    assert [caution.code for caution in seen.cautions] == ["viability_prior_only"]
    assert (seen.compatibility, seen.allocation_reason, seen.allocated_doses) == (None, None, 2)
    text = text_of(seen)
    for secret in (
        SECRET_NAME,
        '"recipient", "handle"',
        str(society.seed.public_id),
        str(society.wanted.public_id),
        "seed_groups",
        "kinship",
        "0.0007",
    ):
        assert secret not in text


BASKETS = {
    "reckoned_from": "a digest",
    "with_whom": "another donor",
    "offer": "d4c1a7e2-3b5f-4f0a-9c8e-7a6b5c4d3e2f",
    "doses": [2, 2],
    "posting": ["2026-06-18", "2026-06-22"],
    "at_least_one_together": 0.33,
    "at_least_one_split": 0.36,
    "gain": 0.03,
    "basis": {"donor": "lot in hand", "recipient": "records", "second_donor": "said"},
}
SECOND_DONOR = {
    "code": "change_second_donor",
    "parameters": {"chance": 0.36, "instead_of": 0.1, "plant": "'Rival'", "offer": BASKETS["offer"]},
}


def test_a_second_donor_is_the_recipients_alone_to_be_read(society: Society, pairing: Pairing) -> None:
    """A donor learns nothing of others, and reads the same as if there were none."""
    before = seen_by(society.given.grower)
    pairing.smallest_change = None
    pairing.save()
    without = seen_by(society.given.grower)
    pairing.plan["two_baskets"], pairing.smallest_change = BASKETS, SECOND_DONOR
    pairing.save()
    assert seen_by(society.given.grower) == without == replace(before, smallest_change=None)
    for secret in ("Rival", str(BASKETS["offer"]), "a digest", "another donor"):
        assert secret not in text_of(seen_by(society.given.grower))
    seen = seen_by(society.seed.grower)
    assert seen.smallest_change is not None
    assert seen.smallest_change.detail == (
        "With pollen of 'Rival' from a second donor as well: at least one capsule about 1 in 3 instead of"
        " about 1 in 10."
    )
    assert seen.two_baskets == TwoBaskets(
        with_whom="another donor",
        offer_id=UUID(str(BASKETS["offer"])),
        doses=[2, 2],
        posting=[date(2026, 6, 18), date(2026, 6, 22)],
        at_least_one_together=0.33,
        at_least_one_split=0.36,
        gain=0.03,
        basis=cast(dict[str, str], BASKETS["basis"]),
        detail="2 + 2 doses, the second packet from another donor: at least one capsule 36 % instead of 33 %",
    )


def test_where_nothing_could_be_split_there_are_no_two_baskets(society: Society, pairing: Pairing) -> None:
    pairing.plan["two_baskets"] = {"reckoned_from": "a digest"}
    pairing.save()
    assert seen_by(society.seed.grower).two_baskets is None


def test_both_read_what_waiting_for_the_bud_gives(society: Society) -> None:
    make_pairing(society.offer, society.wanted, plan={"bud_wait": RARELY})
    for viewer in (society.given.grower, society.seed.grower):
        wait = seen_by(viewer).bud_wait
        assert wait is not None
        assert (wait.posted_chance, wait.each_promised, wait.better) == (0.68, 0.102, True)
        assert (wait.each_posted.estimate, wait.each_posted.low, wait.each_posted.high) == (0.15, 0.05, 0.4)
        assert wait.detail.startswith("better to wait for the recipient's bud: each dose posted then 15 %")


def test_a_plan_of_before_it_was_reckoned_has_no_waiting_for_the_bud(
    society: Society, pairing: Pairing
) -> None:
    del pairing.plan["bud_wait"]
    pairing.save()
    assert seen_by(society.seed.grower).bud_wait is None


def test_both_read_how_many_flowers_the_doses_take(society: Society) -> None:
    make_pairing(society.offer, society.wanted, plan={"donor_flowers": MatchingFlowers(4, 0.3)})
    for viewer in (society.given.grower, society.seed.grower):
        assert seen_by(viewer).donor_flowers == DonorFlowers(4, 0.3)


def test_neither_reads_an_address_a_place_or_a_note(society: Society, pairing: Pairing) -> None:
    Site.objects.update(nearest_town="Hidden town", latitude_deg=48.8512, longitude_deg=2.3498)
    for viewer in (society.given.grower, society.seed.grower):
        text = text_of(seen_by(viewer))
        for secret in ("@example.org", "Hidden town", "48.85", "2.3498", "48.25", "11.75", "my diary"):
            assert secret not in text


def test_the_handle_of_the_other_is_the_donors_alone_to_be_read(society: Society, pairing: Pairing) -> None:
    seen = seen_by(society.given.grower)
    strings = [value for value in flat(asdict(seen)) if isinstance(value, str)]
    assert "recipient" not in strings
    assert strings.count("donor") == 2  # the role and the donor's own handle


def flat(value: Any) -> list[Any]:
    if isinstance(value, dict):
        return [inner for each in value.values() for inner in flat(each)]
    if isinstance(value, list | tuple):
        return [inner for each in value for inner in flat(each)]
    return [value]


def test_where_fertility_is_on_record_for_the_taxon_its_source_is_told(
    society: Society, pairing: Pairing
) -> None:
    assert fertility_source(society) == "its grower"
    taxon = make_taxon(pollen_fertility="poor", sources=sources("Somebody 1981"))
    society.given.taxon = taxon
    society.given.save()
    assert fertility_source(society) == "its grower"
    pairing.reasons[2]["parameters"]["source"] = "Somebody 1981"
    pairing.save()
    assert fertility_source(society) == "Somebody 1981"
    taxon_update(taxon=taxon, sources=sources("Somebody else 1999"))
    assert fertility_source(society) == "its grower"


def sources(fertility: str) -> dict[str, dict[str, str]]:
    names = ("group", "flower", "hours", "chromosomes", "fertility")
    return {name: {"source": fertility, "status": "judgement"} for name in names}


def fertility_source(society: Society) -> str:
    told = seen_by(society.seed.grower).reasons[2]
    assert str(told.parameters["source"]) in told.detail
    return str(told.parameters["source"])


def test_papers_name_a_country_only_where_the_region_does(society: Society, pairing: Pairing) -> None:
    for viewer in (society.given.grower, society.seed.grower):
        seen = seen_by(viewer).papers
        assert seen is not None
        assert (seen.code, seen.parameters) == ("papers_country_not_told", {})
        assert "this is not permission" in seen.detail
    Site.objects.update(region_level="country")
    for viewer in (society.given.grower, society.seed.grower):
        seen = seen_by(viewer).papers
        assert seen is not None
        assert seen.detail.startswith("From FR to DE: nothing on file")
    Pairing.objects.update(papers=None)
    assert seen_by(society.seed.grower).papers is None


def test_a_plan_of_a_season_without_a_day(society: Society) -> None:
    make_pairing(society.offer, society.wanted, plan={"dates": None, "precision": "season"}, timeline=None)
    seen = seen_by(society.seed.grower)
    assert (seen.dates.precision, seen.dates.post_on, seen.dates.decided_by) == ("season", None, None)
    assert str(seen.dates.likeliest_posting) == "2026-06-18"
    assert seen.words.posting == "too early to name a day; likeliest in the week of 15 June"
    assert seen.timeline is None


def test_an_outsider_is_a_side_of_nothing(society: Society, pairing: Pairing, outsider: Grower) -> None:
    assert list(pairings_of(outsider)) == []
