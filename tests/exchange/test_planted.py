"""The planted cases of the demo: each has the outcome a grower would expect, in the right words."""

from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from pytest_django import DjangoDbBlocker

from exchange.management.commands.demo import DEMO_DAY, FOLDER
from exchange.matching.readiness import donor_clock
from exchange.models import Lot, MatchingRun, Offer, Pairing
from exchange.science import constants
from exchange.science.transit import arrival_quantile_days
from exchange.services.matching import RunResult, matching_run
from exchange.services.sharing import share_out
from exchange.services.store import store_of_kind
from exchange.wording.catalogue import sentence
from exchange.wording.pairing import basis_sentence, chance_sentence, decided_sentence, posting_sentence
from growers.models import BloomSighting, Plant
from growers.services.bloom import bloom_said_set
from tests.exchange.demo_tables import table_read
from tests.exchange.planted import as_pairing, change_sentence, demo_society, pair, planned
from tests.exchange.wording.plain import PERMISSION

pytestmark = pytest.mark.django_db

MONDAY = DEMO_DAY


@pytest.fixture(scope="module", autouse=True)
def society(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    with django_db_blocker.unblock(), demo_society():
        yield


def test_the_society_is_of_the_size_and_kind_that_was_meant() -> None:
    sites = table_read(FOLDER / "site.csv")
    assert {row["country"] for row in sites} == {"DE", "FR", "GB", "TH", "AU", "ZA", "US", "BR"}
    assert len(table_read(FOLDER / "grower.csv")) == 8
    assert len(table_read(FOLDER / "plant.csv")) == 60
    groups = set(Plant.objects.values_list("group", flat=True))
    assert groups >= {"hardy", "brachyceras", "anecphya", "lotos", "hydrocallis", "victoria", "nelumbo"}


def test_an_easy_pairing() -> None:
    found = pair("R1", "T1")
    row = as_pairing(found.plan)
    assert chance_sentence(row).startswith("each flower about 1 in 3 (36 %, likely range ")
    assert posting_sentence(row).startswith("best on Mon ")
    assert decided_sentence(row) == "the post, if it is slow"
    assert basis_sentence(row) == "donor: a flower seen this season; recipient: what its grower says"
    assert found.change is None


# --- dried, freezer, Saturday ---


def test_it_works_only_dried() -> None:
    found = pair("W1", "B2")
    plan = found.plan
    assert (found.offer.treatment, found.wanted.least_chance) == ("fresh", 0.05)
    assert plan.each_flower.estimate < 0.05
    assert "below_least_chance" in found.cautions
    assert found.cautions["fresh_dies_fast"] == "Undried pollen lives days, not weeks; never freeze it."
    assert (
        change_sentence(found.change)
        == "Dried instead of fresh: each flower about 1 in 6 instead of about 1 in 21."
    )


def test_it_works_only_through_a_freezer_and_says_how_little_is_known() -> None:
    found = pair("V2", "S4")
    plan = found.plan
    assert plan.each_flower.estimate >= found.wanted.least_chance
    assert found.cautions["frozen_untested"] == (
        "Whether water-lily pollen survives freezing is not known; test it after thawing, before you send."
    )
    # Two bands that wide are what "not known" looks like in figures.
    assert plan.each_flower.low < 0.1 * plan.each_flower.estimate
    donor = found.offer_row.plant.grower
    chilled_in = store_of_kind(donor, "refrigerator")
    Lot.objects.filter(offer=found.offer_row).update(treatment="dried", store=chilled_in)
    Offer.objects.filter(pk=found.offer_row.pk).update(treatment="dried")
    chilled = pair("V2", "S4")
    kept = chilled.plan
    assert kept.each_flower.estimate < found.wanted.least_chance
    assert {"below_least_chance", "viability_prior_only"} <= set(chilled.cautions)


def test_lost_by_a_weekend_and_found_with_a_saturday_service() -> None:
    found = pair("T1", "M2")
    plan, change = found.plan, found.change
    assert (found.offer.treatment, found.offer_row.posts_on_saturday) == ("fresh", False)
    assert plan.each_flower.estimate < found.wanted.least_chance
    assert "below_least_chance" in found.cautions
    assert (
        change_sentence(change)
        == "With a Saturday service: each flower about 1 in 16 instead of about 1 in 21."
    )
    Offer.objects.filter(pk=found.offer_row.pk).update(posts_on_saturday=True)
    after = pair("T1", "M2").plan
    assert change is not None
    assert after.each_flower.estimate == pytest.approx(change.chance, abs=1e-9)
    assert after.each_flower.estimate >= max(0.05, 1.25 * plan.each_flower.estimate)
    # Posted on the same Monday, half of the parcels arrive with the weekend, not after it.
    assert after.dates is not None
    assert plan.dates is not None
    assert after.dates.post_on == plan.dates.post_on == MONDAY
    assert after.dates.arrival_half < plan.dates.arrival_half


@pytest.mark.parametrize("pollen", ["B1", "B2"])
def test_between_two_neighbouring_countries_a_saturday_gains_too_little_to_be_told(pollen: str) -> None:
    """Five business days and the border weigh more than one weekend: a gain, but under a quarter."""
    before = pair("W1", pollen)
    Offer.objects.filter(pk=before.offer_row.pk).update(posts_on_saturday=True)
    gain = pair("W1", pollen).plan.each_flower.estimate / before.plan.each_flower.estimate
    assert 1.0 < gain < constants.WORTHWHILE_GAIN.value


# --- direction ---


def test_hardy_and_tropical_both_ways_have_their_own_chances_and_dates() -> None:
    tropical_seed, hardy_seed = pair("K4", "B1"), pair("B1", "K4")
    there, here = tropical_seed.plan, hardy_seed.plan
    assert there.each_flower.estimate > 5.0 * here.each_flower.estimate
    assert "about 1 in 14 (7.3 %" in chance_sentence(as_pairing(there))
    assert chance_sentence(as_pairing(here)).startswith("each flower under 1 in 100 (under 1 %")
    for plan in (there, here):
        assert plan.precision == "days"
        assert plan.dates is not None
        assert plan.dates.post_on >= MONDAY
        assert plan.dates.not_later_than is not None
    assert "other_direction" not in tropical_seed.cautions
    assert hardy_seed.cautions["other_direction"] == (
        "The other way round takes more often: brachyceras as seed parent, about 20 in 100. Ask whether its"
        " grower would cross it there with your pollen."
    )


# --- nights ---


@pytest.mark.parametrize(
    ("seed", "pollen", "lag", "waits"),
    [
        # Day pollen: opens on day 0, sheds on day 1, dried until day 2; the night flower opens that evening.
        ("K7", "T1", 2, 0),
        # Night pollen sheds in the night of day 1, leaves the pond on date 2, is dry on date 3; the day
        # flower opens on the morning after the delivery.
        ("T3", "K3", 3, 1),
        ("T2", "K3", 3, 0),
        ("R1", "T1", 2, 1),
    ],
)
def test_day_and_night_are_booked_on_the_right_nights(seed: str, pollen: str, lag: int, waits: int) -> None:
    found = pair(seed, pollen)
    assert donor_clock(found.offer, found.way).lag_days == lag
    way = found.course.way
    delivered = [day + int(way.parcel_days[day, 4]) for day in range(60)]
    assert [int(way.usable_day[day, 4]) for day in range(60)] == [day + waits for day in delivered]


def test_the_nights_by_the_calendar() -> None:
    """Handed over in Florida on Monday 6 July, with a Saturday service: Tuesday to Saturday are five
    business days, Monday 13 is the sixth, two days at the border make it Wednesday 15.
    """
    found = pair("K7", "T1")
    posted, step = (date(2026, 7, 6) - MONDAY).days, arrival_quantile_days(found.way.transit, 0.5) - 1
    assert (step, found.offer_row.posts_on_saturday) == (5, True)
    way = found.course.way
    assert MONDAY + timedelta(days=posted + int(way.parcel_days[posted, step])) == date(2026, 7, 15)
    assert MONDAY + timedelta(days=int(way.usable_day[posted, step])) == date(2026, 7, 15)


# --- sterile, kin, papers ---


def test_a_sterile_hybrid_is_refused_with_its_source() -> None:
    assert pair("B4", "W2").refused() == [
        "Nymphaea × thiona sets no seed (Wiersema 1997, Nymphaea, Flora of North America vol. 3)."
    ]


def test_close_kin_with_both_figures() -> None:
    found = pair("B5", "W2")
    assert found.cautions["kinship_strong"] == (
        "Close kin: inbreeding of the offspring 0.25 counted as a diploid, 0.06 counted with all chromosome"
        " sets. How water lilies inherit is not known."
    )


NOT_PERMISSION = "This is not permission; the recipient is the importer and asks"
PAPERS = {
    ("W1", "B1"): "From FR to DE, a note on file: asked: no certificate between these two (invented for the"
    f" demo, checked on 2026-03-02). {NOT_PERMISSION} before anything is sent.",
    ("W1", "K1"): "From TH to DE, a note older than 12 months, so treat it as unknown: certificate of plant"
    f" health with each parcel (invented for the demo, checked on 2024-03-18). {NOT_PERMISSION} first.",
    ("V2", "S4"): "From AU to ZA: nothing on file; this is not permission. Pollen is plant material. The"
    " recipient is the importer and asks both countries' plant-health authorities first.",
}


@pytest.mark.parametrize("case", PAPERS, ids=" × ".join)
def test_papers_on_file_old_and_missing(case: tuple[str, str]) -> None:
    line = pair(*case).papers()
    assert line == PAPERS[case]
    assert not PERMISSION.search(line)


def test_papers_that_forbid_refuse_the_pair() -> None:
    assert pair("K4", "B3").refused() == [
        "From FR to TH a note on file forbids it: yellow water lily may not be brought in (invented for the"
        " demo, checked on 2026-02-10). The recipient's authority decides, not this note."
    ]
    # The note names the way as well as the plant.
    assert pair("W1", "B3").reasons() == ()


# --- two takers ---


def test_of_two_takers_for_one_dose_one_is_served_and_the_other_told_why() -> None:
    first, second, other = pair("S5", "M1"), pair("K8", "M1"), pair("K4", "B1")
    assert first.offer_row.pk == second.offer_row.pk
    assert first.offer_row.doses == 1
    shared = share_out([planned(each) for each in (first, second, other)], "one for each grower first")
    # The second taker's grower is served by another offer.
    assert shared.of(other.offer_row, other.wanted_row)[0] > 0
    doses, why = shared.of(first.offer_row, first.wanted_row)
    assert (doses, why and why["reason"]["code"]) == (1, "allocation_best")
    doses, why = shared.of(second.offer_row, second.wanted_row)
    assert why is not None
    assert (doses, why["reason"]["parameters"]) == (0, {"doses": 0, "flowers": 1, "offers": 1})
    told = sentence(why["reason"]["code"], why["reason"]["parameters"])
    assert told == "The doses it does not get do more elsewhere."


# --- a bud ---


def test_a_bud_still_under_water_moves_the_posting_day_a_week_later() -> None:
    before, after = (pair("B5", "W2", day).plan for day in (date(2026, 6, 12), date(2026, 6, 13)))
    assert (before.recipient_basis, after.recipient_basis) == ("said", "bud seen")
    assert basis_sentence(as_pairing(after)) == "donor: its own records; recipient: a bud seen this season"
    assert posting_sentence(as_pairing(before)) == "best on Mon 22 June, not later than Tue 30 June"
    assert posting_sentence(as_pairing(after)) == "best on Mon 29 June, not later than Tue 30 June"


def test_the_further_on_the_bud_the_earlier_the_posting_day() -> None:
    sighting = BloomSighting.objects.get(plant__number="B5", kind="bud")
    posted = []
    for stage in ("under water", "at the surface", "showing colour"):
        sighting.bud_stage = stage
        sighting.save()
        dates = pair("B5", "W2").plan.dates
        assert dates is not None
        posted.append(dates.post_on)
    assert posted == sorted(posted, reverse=True)
    assert posted[0] > posted[-1]


# --- glass ---


def test_a_grower_under_glass_is_asked_and_planned_once_told() -> None:
    found = pair("R5", "T1")
    assert found.wanted.bloom is None
    assert found.wanted_row.seed_parent.site.water == "glass"
    assert found.refused() == [
        "When unnamed seedling flowers is not known; say roughly when, and it can be planned."
    ]
    seed = found.wanted_row.seed_parent
    bloom_said_set(actor=seed.grower, plant=seed, first_month=5, first_day=15, last_month=10, last_day=15)
    plan = pair("R5", "T1").plan
    assert plan.recipient_basis == "said"
    assert plan.dates is not None


# --- all of it at once ---


@pytest.fixture(scope="module")
def whole(society: None, django_db_blocker: DjangoDbBlocker) -> RunResult:
    with django_db_blocker.unblock():
        return matching_run(today=DEMO_DAY)


def row_of(result: RunResult, seed: str, pollen: str) -> Pairing:
    (found,) = [
        row
        for row in result.pairings
        if (row.wanted_cross.seed_parent.number, row.offer.plant.number) == (seed, pollen)
    ]
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "pollen", "change"),
    [
        ("R1", "T1", None),
        ("W1", "B2", "change_dried_instead_of_fresh"),
        ("V2", "S4", None),
        ("T1", "M2", "change_saturday_service"),
        ("K4", "B1", None),
        ("B1", "K4", None),
        ("K7", "T1", None),
        ("T3", "K3", None),
        ("B5", "W2", None),
    ],
)
def test_a_whole_run_says_of_a_planted_pair_what_it_says_alone(
    whole: RunResult, seed: str, pollen: str, change: str | None
) -> None:
    row, alone = row_of(whole, seed, pollen), pair(seed, pollen).plan
    assert row.chance == pytest.approx(alone.each_flower.estimate, abs=1e-9)
    assert (row.smallest_change["code"] if row.smallest_change else None) == change
    assert posting_sentence(row) == posting_sentence(as_pairing(alone))


@pytest.mark.slow
def test_a_whole_run_gives_the_one_dose_to_the_grower_who_has_nothing_else(whole: RunResult) -> None:
    served, told = row_of(whole, "S5", "M1"), row_of(whole, "K8", "M1")
    assert (served.allocated_doses, told.allocated_doses) == (1, 0)
    assert told.allocation is not None
    assert told.allocation["reason"]["code"] == "allocation_more_elsewhere"
    rows = {row["group"]: row for row in whole.run.report["rows"] if row["heading"] == "region"}
    assert rows["Oceania"]["growers_served"] == rows["Oceania"]["growers_with_offer"] == 1
    assert all(row["growers_served"] == row["growers_with_offer"] for row in rows.values())
    assert MatchingRun.objects.get() == whole.run
    refused = {
        (each.wanted_cross.seed_parent.number, each.offer.plant.number): {
            reason.code for reason in each.reasons
        }
        for each in whole.refused
    }
    assert refused["B4", "W2"] == {"sterile_seed_parent"}
    assert refused["K4", "B3"] == {"papers_forbidden"}
    assert refused["R5", "T1"] == {"seed_parent_bloom_unknown"}
