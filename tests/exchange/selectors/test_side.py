"""Offers and wanted crosses as the matching takes them: what a plant knows of itself before its taxon."""

from dataclasses import fields
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest
from pytest_django import DjangoAssertNumQueries

from exchange.matching.side import Bloom, CrossWanted, LotInHand, Parent, PollenOffer
from exchange.models import Lot, Offer
from exchange.selectors.side import Market, Role, clone_of, market, parent
from exchange.services.offer import offer_close, offer_pause
from exchange.services.store import store_of_kind
from exchange.services.supply import supply_open
from exchange.services.wanted_cross import wanted_cross_close, wanted_cross_pause
from growers.models import Grower, Plant, Taxon
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_close
from growers.services.site import site_update
from tests.clock import MovableClock
from tests.factories import (
    make_offer,
    make_offer_in_hand,
    make_plant,
    make_season,
    make_site,
    make_taxon,
    make_wanted_cross,
)

pytestmark = pytest.mark.django_db

TODAY = date(2027, 7, 1)
SOURCES = {
    "group": {"source": "invented for a test", "status": "judgement"},
    "flower": {"source": "invented for a test", "status": "judgement"},
    "fertility": {"source": "invented herbal", "status": "judgement"},
}


@pytest.fixture(autouse=True)
def first_of_july(clock: MovableClock) -> None:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))


@pytest.fixture(autouse=True)
def groups(db: None) -> dict[str, Taxon]:
    """The flower clocks of two groups; real ones come from the reference tables."""
    made = [
        make_taxon(name="Hardy", rank="group", group="hardy", pollen_first_day=2, pollen_last_day=3),
        make_taxon(
            name="Lotos", rank="group", group="lotos", flower_days=4, pollen_first_day=1, pollen_last_day=4
        ),
    ]
    return {taxon.group: taxon for taxon in made}


def as_parent(plant: Plant, groups: dict[str, Taxon], role: Role = "pollen") -> Parent:
    return parent(Plant.objects.select_related("taxon").get(pk=plant.pk), groups, role)


def offered(plant: Plant, today: date = TODAY) -> PollenOffer:
    (found,) = [offer for row, offer in market(today).offers.values() if row.plant_id == plant.pk]
    return found


# --- a plant as a parent ---


def test_a_plant_without_a_taxon_has_the_clock_of_its_group(donor: Grower, groups: dict[str, Taxon]) -> None:
    plant = make_plant(donor, name_as_grown="'Dusk'", group="lotos", diel="night", traits=["white", "tall"])
    assert as_parent(plant, groups) == Parent(
        key=str(plant.public_id),
        name="'Dusk'",
        clone=f"plant {plant.pk}",
        groups=("lotos",),
        diel="night",
        pollen_first_day=1,
        pollen_last_day=4,
        taxon="",
        traits=frozenset({"white", "tall"}),
        fertility_source="its grower",
    )


def test_a_plant_of_a_taxon_has_its_clock_and_name(donor: Grower, groups: dict[str, Taxon]) -> None:
    taxon = make_taxon(flower_days=5, pollen_first_day=3, pollen_last_day=5)
    found = as_parent(make_plant(donor, taxon=taxon), groups)
    assert (found.pollen_first_day, found.pollen_last_day) == (3, 5)
    assert (found.taxon, found.groups) == ("Nymphaea 'Invented'", ("hardy",))


def test_a_plant_of_mixed_origin_has_all_its_groups(donor: Grower, groups: dict[str, Taxon]) -> None:
    taxon = make_taxon(origin_groups=["hardy", "brachyceras"])
    assert as_parent(make_plant(donor, taxon=taxon), groups).groups == ("hardy", "brachyceras")


def test_two_plants_of_a_cultivar_are_one_clone_unless_in_doubt(donor: Grower, recipient: Grower) -> None:
    cultivar, species = make_taxon(), make_taxon(name="Nymphaea inventa", rank="species")
    one, other = make_plant(donor, taxon=cultivar), make_plant(recipient, taxon=cultivar)
    doubtful = make_plant(recipient, taxon=cultivar, identity="in_doubt")
    wild = make_plant(donor, taxon=species)
    assert clone_of(one) == clone_of(other) == f"cultivar {cultivar.pk}"
    assert [clone_of(plant) for plant in (doubtful, wild)] == [f"plant {doubtful.pk}", f"plant {wild.pk}"]


def test_counts_of_the_plant_come_before_those_of_its_taxon(donor: Grower, groups: dict[str, Taxon]) -> None:
    source = SOURCES | {"chromosomes": SOURCES["group"]}
    taxon = make_taxon(chromosome_counts=[56, 84], sources=source)
    by_taxon, by_plant = (
        make_plant(donor, taxon=taxon),
        make_plant(donor, taxon=taxon, chromosome_counts=[112]),
    )
    assert as_parent(by_taxon, groups).chromosome_counts == (56, 84)
    assert as_parent(by_plant, groups).chromosome_counts == (112,)
    assert as_parent(make_plant(donor), groups).chromosome_counts == ()


FERTILITY: dict[str, tuple[dict[str, str], tuple[str, str], tuple[str, str]]] = {
    "only the taxon's": ({}, ("no", "poor"), ("invented herbal", "invented herbal")),
    "both seen": (
        {"seed_fertility": "poor", "pollen_fertility": "yes", "fertility_evidence": "two capsules in 2025"},
        ("poor", "yes"),
        ("two capsules in 2025", "two capsules in 2025"),
    ),
    "one seen": ({"pollen_fertility": "yes"}, ("no", "yes"), ("invented herbal", "its grower")),
}
"""What the plant says; fertility as (seed, pollen); who says so of (seed, pollen)."""


@pytest.mark.parametrize("case", FERTILITY)
def test_fertility_of_the_plant_comes_before_that_of_its_taxon(
    donor: Grower, groups: dict[str, Taxon], case: str
) -> None:
    said, fertility, sources = FERTILITY[case]
    taxon = make_taxon(seed_fertility="no", pollen_fertility="poor", sources=SOURCES)
    plant = make_plant(donor, taxon=taxon, **said)  # type: ignore[arg-type]
    for role, source in zip(("seed", "pollen"), sources, strict=True):
        found = as_parent(plant, groups, role)  # type: ignore[arg-type]
        assert (found.seed_fertility, found.pollen_fertility) == fertility
        assert found.fertility_source == source


# --- offers ---


def test_an_offer_on_request_has_the_bloom_of_its_plant(donor: Grower) -> None:
    plant = make_plant(donor)
    make_offer(plant, treatment="fresh", doses=3, doses_per_flower=2, countries=["DE", "TH"])
    found = offered(plant)
    assert (found.treatment, found.doses, found.doses_per_flower) == ("fresh", 3, 2)
    assert (found.country, found.lot) == ("FR", None)
    assert found.ships_to == {"DE", "TH"}
    assert found.bloom is not None
    assert found.bloom.basis == "climate"


def test_the_country_is_that_of_the_cell(donor: Grower) -> None:
    """At Basle the cell's centre lies in another country than the pond; only the cell is told."""
    site = make_site(donor, country="CH", latitude_deg=47.55, longitude_deg=7.45)
    plant = make_plant(donor, site=site)
    make_offer(plant)
    assert (site.country, site.cell_country) == ("CH", offered(plant).country)
    assert offered(plant).country != "CH"


AGES: dict[str, tuple[dict[str, Any], LotInHand]] = {
    "dried": ({}, LotInHand("refrigerator", 10)),
    "fresh": ({"treatment": "fresh"}, LotInHand("refrigerator", 11)),
    "frozen": ({"treatment": "frozen", "store": "freezer"}, LotInHand("freezer", 10)),
}
"""Eleven days after collection: drying takes the first of them, except of fresh pollen."""


@pytest.mark.parametrize("case", AGES)
def test_days_in_store_begin_when_pollen_is_dry(donor: Grower, case: str) -> None:
    said, expected = AGES[case]
    plant = make_plant(donor)
    make_offer_in_hand(plant, date(2027, 6, 20), **said)
    found = offered(plant)
    assert (found.lot, found.treatment, found.bloom) == (expected, case, None)


def test_a_lot_collected_today_has_no_days_in_store(donor: Grower) -> None:
    plant = make_plant(donor)
    make_offer_in_hand(plant, TODAY)
    assert offered(plant).lot == LotInHand("refrigerator", 0)


def test_a_lot_is_not_offered_before_it_was_collected(donor: Grower) -> None:
    make_offer_in_hand(make_plant(donor), date(2027, 6, 20))
    assert market(date(2027, 6, 19)).offers == {}
    assert len(market(date(2027, 6, 20)).offers) == 1


def test_the_oldest_lot_goes_first(donor: Grower) -> None:
    plant = make_plant(donor)
    offer = make_offer_in_hand(plant, date(2027, 6, 20))
    for collected_on in (date(2027, 6, 10), date(2027, 6, 25), date(2027, 7, 9)):
        lot = Lot.objects.create(
            plant=plant,
            offer=offer,
            collected_on=collected_on,
            treatment="dried",
            store=store_of_kind(donor, "refrigerator"),
            doses=1,
        )
        supply_open(lot=lot, total=1)
    assert offered(plant).lot == LotInHand("refrigerator", 20)


# --- wanted crosses ---


def test_a_wanted_cross_names_clones_taxa_groups_and_traits(donor: Grower, recipient: Grower) -> None:
    cultivar = make_taxon()
    clone, single, seed = make_plant(donor, taxon=cultivar), make_plant(donor), make_plant(recipient)
    make_wanted_cross(
        seed,
        pollen_plants=[clone, single],
        pollen_taxa=[cultivar],
        pollen_groups=["lotos"],
        traits=["blue"],
        flowers=3,
        least_chance=0.05,
    )
    ((row, found),) = market(TODAY).wanted.values()
    assert found.key == str(row.public_id)
    assert found.clones == {f"cultivar {cultivar.pk}", f"plant {single.pk}"}
    assert found.taxa == {"Nymphaea 'Invented'"}
    assert found.groups == {"lotos"}
    assert found.traits == {"blue"}
    assert (found.flowers, found.least_chance, found.country) == (3, 0.05, "FR")
    assert found.bloom is not None
    assert found.parent.key == str(seed.public_id)


# --- what is open ---


def test_only_what_is_open_is_on_the_market(donor: Grower) -> None:
    plant = make_plant(donor)
    offers = [make_offer(plant) for _ in range(3)]
    crosses = [make_wanted_cross(plant) for _ in range(3)]
    offer_pause(actor=donor, offer=offers[0])
    offer_close(actor=donor, offer=offers[1])
    wanted_cross_pause(actor=donor, wanted_cross=crosses[0])
    wanted_cross_close(actor=donor, wanted_cross=crosses[1])
    found = market(TODAY)
    assert list(found.offers) == [str(offers[2].public_id)]
    assert list(found.wanted) == [str(crosses[2].public_id)]


def test_a_grower_who_left_is_not_on_the_market(donor: Grower, recipient: Grower) -> None:
    for grower in (donor, recipient):
        make_offer(make_plant(grower))
        make_wanted_cross(make_plant(grower))
    grower_close(actor=donor)
    found = market(TODAY)
    assert [row.plant.grower_id for row, _ in found.offers.values()] == [recipient.pk]
    assert [row.seed_parent.grower_id for row, _ in found.wanted.values()] == [recipient.pk]


# --- the exact place ---


def plain(side: PollenOffer | CrossWanted) -> dict[str, Any]:
    """One side field by field, its scenarios as lists."""
    found = {field.name: getattr(side, field.name) for field in fields(side)}
    bloom: Bloom = found.pop("bloom")
    arrays = {
        name: getattr(bloom.scenarios, name) for name in ("start_day", "end_day", "rate_per_day", "flowers")
    }
    return found | {"window": bloom.window} | {name: array.tolist() for name, array in arrays.items()}


def told(found: Market) -> list[dict[str, Any]]:
    return [plain(side) for sides in (found.offers, found.wanted) for _, side in sides.values()]


def test_a_move_within_the_cell_changes_nothing_that_is_matched(donor: Grower, recipient: Grower) -> None:
    for grower in (donor, recipient):
        plant = make_plant(grower, site=make_site(grower, keep_exact=True))
        make_offer(plant)
        make_wanted_cross(plant)
    before = told(market(TODAY))
    site = donor.sites.get()
    site_update(actor=donor, site=site, keep_exact=True, latitude_deg=48.99, longitude_deg=2.01)
    assert told(market(TODAY)) == before
    site_update(actor=donor, site=site, keep_exact=True, latitude_deg=49.01, longitude_deg=2.01)
    assert told(market(TODAY)) != before


# --- queries ---


@pytest.mark.parametrize("count", [3, 30])
def test_fifteen_queries_for_any_market(
    donor: Grower, django_assert_num_queries: DjangoAssertNumQueries, count: int
) -> None:
    taxon = make_taxon()
    for number in range(count):
        plant = make_plant(donor, taxon=taxon)
        make_season(plant, date(2026, 6, 10), date(2026, 9, 1))
        bloom_said_set(actor=donor, plant=plant, all_year=True)
        if number % 2:
            make_offer(plant)
        else:
            make_offer_in_hand(plant, date(2027, 6, 20))
        make_wanted_cross(plant, pollen_plants=[plant], pollen_taxa=[taxon])
    with django_assert_num_queries(15):
        found = market(TODAY)
    assert (len(found.offers), len(found.wanted)) == (count, count)
    assert Offer.objects.count() == count
    starts = [side.bloom.scenarios.rate_per_day for _, side in found.wanted.values() if side.bloom]
    assert len({np.round(rate, 12).tobytes() for rate in starts}) == count
