"""Cautions: kin, chromosome counts, thin evidence, cold, the other direction, and papers at every border."""

from datetime import date

import pytest

from exchange.matching.chance import Estimate
from exchange.matching.donor_flowers import DonorFlowers
from exchange.matching.plan import PairPlan
from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, Lane, PollenOffer
from exchange.science.kinship import PedigreeEntry
from exchange.science.packing import DEFAULT_PACKING, UNCOOLED_PACKING
from exchange.science.parcel import hours_cold
from exchange.selectors.border import BorderNotes
from exchange.selectors.caution import cautions, pedigree_entries
from growers.models import Grower, Plant
from tests.exchange.pair import a_lane, a_parent, a_wanted_cross, an_offer
from tests.exchange.plan import a_plan, planned_dates
from tests.factories import make_plant, make_taxon

FATHER, MOTHER = PedigreeEntry("father"), PedigreeEntry("mother")
FULL_SIBS = [FATHER, MOTHER, *(PedigreeEntry(name, "mother", "father") for name in ("seed", "pollen"))]
HALF_SIBS = [FATHER, PedigreeEntry("seed", None, "father"), PedigreeEntry("pollen", None, "father")]
STRANGERS = [PedigreeEntry("seed"), PedigreeEntry("pollen")]
NO_NOTES = BorderNotes((), date(2026, 6, 15))


def found(
    offer: PollenOffer | None = None,
    wanted: CrossWanted | None = None,
    lane: Lane | None = None,
    plan: PairPlan | None = None,
    entries: list[PedigreeEntry] | None = None,
) -> dict[str, Reason]:
    """The cautions of a pair of strangers, dried and in hand, but for what is changed; by code."""
    listed = cautions(
        offer or an_offer(),
        wanted or a_wanted_cross(),
        lane or a_lane(),
        plan or a_plan(),
        entries or STRANGERS,
    )
    assert len({reason.code for reason in listed}) == len(listed)
    return {reason.code: reason for reason in listed}


# --- kin ---

KIN = {
    "same clone": (
        [PedigreeEntry("seed")],
        "seed",
        Reason("kinship_self", {"disomic": 0.5, "polysomic": 0.5}),
    ),
    "full sibs": (FULL_SIBS, "pollen", Reason("kinship_strong", {"disomic": 0.25, "polysomic": 0.25})),
    "half sibs": (HALF_SIBS, "pollen", Reason("kinship_warn", {"disomic": 0.125, "polysomic": 0.125})),
}
"""Inbreeding of diploid offspring of unrelated founders: a half, a quarter, an eighth (definition)."""


@pytest.mark.parametrize("case", KIN)
def test_kin_is_warned_of_by_the_disomic_figure(case: str) -> None:
    entries, clone, expected = KIN[case]
    told = found(an_offer(parent=a_parent(clone)), entries=entries)
    assert [code for code in told if code.startswith("kinship")] == [expected.code]
    assert told[expected.code] == expected


def test_strangers_are_no_kin() -> None:
    assert not [code for code in found() if code.startswith("kinship")]


@pytest.mark.django_db
def test_a_pedigree_from_the_plants_of_two_growers(donor: Grower, recipient: Grower) -> None:
    source = {"source": "invented for a test", "status": "judgement"}
    cultivar = make_taxon(ploidy=4, sources=dict.fromkeys(("group", "flower", "chromosomes"), source))
    mother, father = make_plant(donor, taxon=cultivar), make_plant(donor)
    child = make_plant(donor, seed_parent=mother, pollen_parent=father)
    half = make_plant(donor, seed_parent=mother)
    same_clone = make_plant(recipient, taxon=cultivar)
    entries = pedigree_entries([child.pk, half.pk, same_clone.pk])
    names = {plant.pk: f"plant {plant.pk}" for plant in (father, child, half)}
    clone = f"cultivar {cultivar.pk}"
    assert {entry.name: entry for entry in entries} == {
        clone: PedigreeEntry(clone, chromosome_sets=4),
        names[father.pk]: PedigreeEntry(names[father.pk], chromosome_sets=2),
        names[child.pk]: PedigreeEntry(
            names[child.pk], clone, names[father.pk], chromosome_sets=3, seed_sets=2, pollen_sets=1
        ),
        # The unknown pollen parent is taken to have given as many sets as the seed parent.
        names[half.pk]: PedigreeEntry(
            names[half.pk], clone, None, chromosome_sets=4, seed_sets=2, pollen_sets=2
        ),
    }
    back = found(
        an_offer(parent=a_parent(clone)),
        a_wanted_cross(parent=a_parent(names[child.pk])),
        entries=entries,
    )
    assert back["kinship_strong"].parameters["disomic"] == 0.25


@pytest.mark.django_db
@pytest.mark.parametrize(("ploidy", "sets"), [(None, 2), (6, 6), (2.5, 2)])
def test_sets_of_a_founder_are_those_of_its_taxon(donor: Grower, ploidy: float | None, sets: int) -> None:
    source = {"source": "invented for a test", "status": "judgement"}
    taxon = make_taxon(ploidy=ploidy, sources=dict.fromkeys(("group", "flower", "chromosomes"), source))
    plant: Plant = make_plant(donor, taxon=taxon)
    (entry,) = pedigree_entries([plant.pk])
    assert entry.chromosome_sets == sets


# --- chromosome counts ---


def counted(seed: tuple[int, ...], pollen: tuple[int, ...]) -> dict[str, Reason]:
    told = found(
        an_offer(parent=a_parent("pollen", chromosome_counts=pollen)),
        a_wanted_cross(parent=a_parent("seed", chromosome_counts=seed)),
    )
    return {code: reason for code, reason in told.items() if code.startswith("offspring")}


def test_offspring_of_uneven_sets_may_be_sterile() -> None:
    assert counted((28,), (56,)) == {
        "offspring_ploidy_strong": Reason("offspring_ploidy_strong", {"counts": "42"})
    }


def test_even_sets_of_different_parents_are_a_weak_warning() -> None:
    assert counted((56,), (112,)) == {
        "offspring_ploidy_weak": Reason("offspring_ploidy_weak", {"counts": "84"})
    }


@pytest.mark.parametrize(("seed", "pollen"), [((56,), (56,)), ((), (56,)), ((56,), ())])
def test_equal_or_unknown_counts_warn_of_nothing(seed: tuple[int, ...], pollen: tuple[int, ...]) -> None:
    assert counted(seed, pollen) == {}


# --- thin evidence and the life of pollen ---

EVIDENCE = {
    "dried": {"viability_prior_only"},
    "fresh": {"viability_prior_only", "fresh_dies_fast"},
    "frozen": {"frozen_untested"},
}


@pytest.mark.parametrize("treatment", EVIDENCE)
def test_every_pairing_says_how_thin_the_evidence_is(treatment: str) -> None:
    assert set(found(an_offer(treatment=treatment))) == EVIDENCE[treatment]


# --- the box ---


def boxed(arrival_half: date, ambient_c: float = 30.0) -> dict[str, Reason]:
    lane = a_lane(packing=DEFAULT_PACKING)
    lane.ambient_c[:] = ambient_c
    plan = a_plan(dates=planned_dates(post_on=date(2026, 6, 18), arrival_half=arrival_half))
    return found(lane=lane, plan=plan)


def test_a_box_that_warms_before_it_arrives_is_told_with_its_hours() -> None:
    cold = hours_cold(DEFAULT_PACKING, 30.0)
    assert 10 < cold < 72
    assert boxed(date(2026, 6, 22))["box_short_cold"].parameters == {
        "cold_hours": round(cold),
        "trip_days": 4,
        "ambient_c": 30,
    }


def test_a_box_that_stays_cold_is_not_mentioned() -> None:
    assert "box_short_cold" not in boxed(date(2026, 6, 22), ambient_c=1.0)
    assert "box_short_cold" not in boxed(date(2026, 6, 18))


def test_neither_an_envelope_nor_a_plan_without_dates_has_a_box_that_warms() -> None:
    assert "box_short_cold" not in found(lane=a_lane(packing=UNCOOLED_PACKING))
    assert "box_short_cold" not in found(lane=a_lane(packing=DEFAULT_PACKING), plan=a_plan(dates=None))


# --- the chance asked for ---


@pytest.mark.parametrize(("chance", "told"), [(0.0499, True), (0.05, False)])
def test_below_the_least_chance_is_said_and_not_removed(chance: float, told: bool) -> None:
    plan = a_plan(each_flower=Estimate(chance, 0.0, 1.0))
    assert ("below_least_chance" in found(wanted=a_wanted_cross(least_chance=0.05), plan=plan)) is told


# --- more doses than flowers ---


@pytest.mark.parametrize(
    ("flowers", "told"),
    [
        (None, None),  # pollen in hand
        (DonorFlowers(4, 0.5), None),
        (
            DonorFlowers(4, 0.49994),
            Reason("doses_over_donor_flowers", {"doses": 4, "flowers": 4, "chance": 0.4999}),
        ),
        # That one flower may not come is what the chance of posting says.
        (DonorFlowers(1, 0.1), None),
    ],
)
def test_more_doses_than_flowers_to_take_them_of_are_told(
    flowers: DonorFlowers | None, told: Reason | None
) -> None:
    assert found(plan=a_plan(donor_flowers=flowers)).get("doses_over_donor_flowers") == told


# --- papers ---


@pytest.mark.parametrize(("origin", "destination"), [("FR", "DE"), ("DE", "FR"), ("TH", "US")])
def test_a_border_always_has_its_line(origin: str, destination: str) -> None:
    line = NO_NOTES.papers(an_offer(country=origin), a_wanted_cross(country=destination))
    assert line == Reason("papers_nothing_on_file", {"origin": origin, "destination": destination})


def test_inside_one_country_there_is_no_border() -> None:
    assert NO_NOTES.papers(an_offer(country="FR"), a_wanted_cross(country="FR")) is None
