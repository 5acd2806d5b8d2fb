"""Offers: pollen of one's own plant, on request or in hand; what is refused changes nothing."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from exchange.models import Lot, Offer
from exchange.services.offer import offer_close, offer_create, offer_in_hand_create, offer_pause, offer_reopen
from growers.errors import NotFound
from growers.models import Change, Grower, Plant
from growers.services.grower import grower_close
from tests.clock import MovableClock
from tests.exchange.refusal import problems, refused, rows
from tests.factories import make_grower, make_offer, make_offer_in_hand, make_plant, make_site

pytestmark = pytest.mark.django_db

TODAY = date(2027, 7, 1)
NO_SUCH_PLANT = "There is no such plant."


@pytest.fixture(autouse=True)
def first_of_july(clock: MovableClock) -> None:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))


@pytest.fixture
def plant(donor: Grower) -> Plant:
    return make_plant(donor, name_as_grown="'Ferry'")


# --- what is written ---


def test_an_offer_on_request_with_its_defaults(plant: Plant) -> None:
    offer = Offer.objects.get(pk=offer_create(actor=plant.grower, plant=plant, treatment="fresh", doses=2).pk)
    assert (offer.kind, offer.state, offer.treatment, offer.doses) == ("on_request", "open", "fresh", 2)
    assert (offer.packing, offer.doses_per_flower) == ("cold_box", 1)
    assert (offer.posts_on_saturday, offer.collected_before_cut_off, offer.note) == (False, True, "")
    assert Lot.objects.count() == 0


def test_an_offer_keeps_what_is_said_of_it(plant: Plant) -> None:
    offer = offer_create(
        actor=plant.grower,
        plant=plant,
        treatment="dried",
        packing="envelope",
        doses=999,
        doses_per_flower=50,
        countries=("DE", "TH"),
        posts_on_saturday=True,
        collected_before_cut_off=False,
        note="  by  letter ",
    )
    stored = Offer.objects.get(pk=offer.pk)
    assert (stored.packing, stored.doses, stored.doses_per_flower) == ("envelope", 999, 50)
    assert (stored.countries, stored.posts_on_saturday) == (["DE", "TH"], True)
    assert (stored.collected_before_cut_off, stored.note) == (False, "by  letter")


def test_countries_not_stated_are_those_of_the_grower(db: None) -> None:
    grower = make_grower(countries_shipped_to=["DE", "GB"])
    assert Offer.objects.get(pk=make_offer(make_plant(grower)).pk).countries == ["DE", "GB"]
    assert make_offer(make_plant(grower), countries=[]).countries == []


def test_an_offer_in_hand_has_one_lot(plant: Plant) -> None:
    offer = make_offer_in_hand(plant, date(2027, 6, 20), doses=3)
    lot = Lot.objects.get()
    assert (offer.kind, lot.offer_id, lot.plant_id, lot.doses) == ("in_hand", offer.pk, plant.pk, 3)
    assert (lot.collected_on, lot.treatment, lot.store.kind) == (date(2027, 6, 20), "dried", "refrigerator")


def test_frozen_pollen_is_a_lot_in_a_freezer(plant: Plant) -> None:
    make_offer_in_hand(plant, date(2027, 2, 20), store="freezer", treatment="frozen")
    assert Lot.objects.values_list("treatment", "store__kind").get() == ("frozen", "freezer")


def test_a_lot_has_the_treatment_of_its_offer_as_tidied(plant: Plant) -> None:
    make_offer_in_hand(plant, date(2027, 6, 20), treatment=" dried ")
    assert (Lot.objects.get().treatment, Offer.objects.get().treatment) == ("dried", "dried")


def test_a_lot_of_today_counts_by_the_date_at_the_plants_place(donor: Grower, clock: MovableClock) -> None:
    clock.set(datetime(2027, 6, 30, 18, tzinfo=UTC))
    east = make_site(donor, name="east", country="TH", latitude_deg=13.75, longitude_deg=100.25)
    make_offer_in_hand(make_plant(donor, site=east), TODAY)
    west = make_plant(donor, site=make_site(donor, name="west"))
    assert (
        "a day up to today, 2027-06-30" in problems(lambda: make_offer_in_hand(west, TODAY))["/collected_on"]
    )


def test_an_offer_is_noted_once(plant: Plant) -> None:
    before = Change.objects.count()
    offer = make_offer_in_hand(plant, TODAY)
    (noted,) = Change.objects.order_by("pk")[before:]
    assert (noted.kind, noted.subject_id) == ("offer", offer.pk)


# --- whose it is ---


def test_anothers_plant_does_not_exist(plant: Plant, recipient: Grower, outsider: Grower) -> None:
    for actor in (recipient, outsider):
        fields: dict[str, Any] = {"actor": actor, "plant": plant, "treatment": "dried", "doses": 1}
        on_request = refused(lambda fields=fields: offer_create(**fields), NotFound)  # type: ignore[misc]
        in_hand = refused(
            lambda fields=fields: offer_in_hand_create(  # type: ignore[misc]
                **fields, collected_on=TODAY, store="refrigerator"
            ),
            NotFound,
        )
        assert (on_request.detail, in_hand.detail) == (NO_SUCH_PLANT, NO_SUCH_PLANT)


@pytest.mark.parametrize("service", [offer_pause, offer_reopen, offer_close])
def test_anothers_offer_does_not_exist(plant: Plant, recipient: Grower, service: Any) -> None:
    offer = make_offer(plant)
    assert (
        refused(lambda: service(actor=recipient, offer=offer), NotFound).detail == "There is no such offer."
    )


def test_a_closed_account_offers_nothing(plant: Plant) -> None:
    grower_close(actor=plant.grower)
    assert refused(lambda: make_offer(plant), NotFound).detail == NO_SUCH_PLANT


# --- what is refused ---


def test_a_plant_without_working_pollen(donor: Grower) -> None:
    sterile = make_plant(donor, name_as_grown="'Mule'", pollen_fertility="no")
    detail = """plant is "'Mule'"; allowed: a plant with working pollen."""
    assert problems(lambda: make_offer(sterile)) == {"/plant": detail}
    assert problems(lambda: make_offer_in_hand(sterile, TODAY)) == {"/plant": detail}


def test_a_plant_that_only_sets_no_seed_may_give_pollen(donor: Grower) -> None:
    make_offer(make_plant(donor, seed_fertility="no", pollen_fertility="poor"))
    assert Offer.objects.count() == 1


ON_REQUEST_REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "frozen": (
        {"treatment": "frozen"},
        "treatment is 'frozen'; allowed: fresh or dried; frozen pollen is a lot in hand.",
    ),
    "no-such-treatment": ({"treatment": "boiled"}, "treatment is 'boiled'; allowed: fresh, dried, frozen."),
    "treatment-missing": ({"treatment": ""}, "treatment is missing; allowed: fresh, dried, frozen."),
    "no-such-packing": ({"packing": "sack"}, "packing is 'sack'; allowed: cold_box, envelope, own_box."),
    "no-dose": ({"doses": 0}, "doses is 0; allowed: whole numbers from 1 to 999."),
    "too-many-doses": ({"doses": 1000}, "doses is 1000; allowed: whole numbers from 1 to 999."),
    "half-a-dose": ({"doses": 1.5}, "doses is 1.5; allowed: whole numbers from 1 to 999."),
    "doses-missing": ({"doses": None}, "doses is missing; allowed: whole numbers from 1 to 999."),
    "no-dose-a-flower": (
        {"doses_per_flower": 0},
        "doses_per_flower is 0; allowed: whole numbers from 1 to 50.",
    ),
    "too-many-a-flower": (
        {"doses_per_flower": 51},
        "doses_per_flower is 51; allowed: whole numbers from 1 to 50.",
    ),
    "no-such-country": (
        {"countries": ["FR", "XX"]},
        "countries is 'XX'; allowed: ISO 3166 codes of two capital letters such as FR.",
    ),
    "small-letters": (
        {"countries": ["fr"]},
        "countries is 'fr'; allowed: ISO 3166 codes of two capital letters such as FR.",
    ),
    "no-list": ({"countries": "FR"}, "countries is 'FR'; allowed: a list of country codes."),
    "long-note": ({"note": "n" * 301}, "allowed: at most 300 characters."),
    "saturday": ({"posts_on_saturday": "yes"}, "posts_on_saturday is 'yes'; allowed: true or false."),
}


@pytest.mark.parametrize("case", ON_REQUEST_REFUSED)
def test_an_offer_that_is_refused(plant: Plant, case: str) -> None:
    fields, sentence = ON_REQUEST_REFUSED[case]
    (pointer,) = [f"/{name}" for name in fields]
    found = problems(lambda: make_offer(plant, **fields))
    assert list(found) == [pointer]
    assert found[pointer].endswith(sentence)


NOT_FROZEN = "store is 'freezer'; allowed: refrigerator; only dried pollen may be frozen, treatment frozen."
LOT_REFUSED: dict[str, tuple[dict[str, Any], dict[str, str]]] = {
    "dried-in-the-freezer": (
        {"store": "freezer"},
        {"/store": NOT_FROZEN},
    ),
    "fresh-in-the-freezer": (
        {"store": "freezer", "treatment": "fresh"},
        {"/store": NOT_FROZEN},
    ),
    "frozen-in-the-refrigerator": (
        {"treatment": "frozen"},
        {"/store": "store is 'refrigerator'; allowed: freezer for pollen with treatment frozen."},
    ),
    "no-such-store": (
        {"store": "shelf"},
        {
            "/store": "store is 'shelf'; allowed: refrigerator, freezer, frost_free_freezer, chest_freezer,"
            " colder."
        },
    ),
    "of-tomorrow": (
        {"collected_on": date(2027, 7, 2)},
        {"/collected_on": "collected_on is 2027-07-02; allowed: a day up to today, 2027-07-01."},
    ),
    "two-at-once": (
        {"collected_on": date(2028, 1, 1), "doses": 0},
        {
            "/doses": "doses is 0; allowed: whole numbers from 1 to 999.",
            "/collected_on": "collected_on is 2028-01-01; allowed: a day up to today, 2027-07-01.",
        },
    ),
}


@pytest.mark.parametrize("case", LOT_REFUSED)
def test_a_lot_that_is_refused(plant: Plant, case: str) -> None:
    fields, expected = LOT_REFUSED[case]
    stated: dict[str, Any] = {"collected_on": TODAY, **fields}
    assert problems(lambda: make_offer_in_hand(plant, **stated)) == expected


def test_an_unknown_field_is_a_callers_mistake(plant: Plant) -> None:
    before = rows()
    with pytest.raises(TypeError, match="not fields of Offer: state"):
        make_offer(plant, state="closed")  # type: ignore[call-arg]
    assert rows() == before
