"""Plants as owner and others see them."""

from dataclasses import asdict, fields
from uuid import uuid4

import pytest

from growers.errors import NotFound
from growers.models import Grower
from growers.selectors.plant import (
    Parent,
    PlantForOthers,
    PlantForOwner,
    plant_of,
    plants_for_others,
    plants_of,
)
from growers.selectors.site import Region
from growers.services.plant import plant_create
from tests.factories import make_plant, make_site, make_taxon

pytestmark = pytest.mark.django_db


def test_the_owner_sees_everything(donor: Grower) -> None:
    taxon = make_taxon(group="lotos", diel="night")
    plant = make_plant(
        donor,
        number="P-1",
        name_as_grown="'Dusk'",
        taxon=taxon,
        traits=["red"],
        chromosome_counts=[56],
        crowns=4,
    )
    (seen,) = plants_of(donor)
    assert seen == plant_of(donor, plant.public_id)
    assert (seen.number, seen.name_as_grown, seen.taxon_name) == ("P-1", "'Dusk'", "Nymphaea 'Invented'")
    assert (seen.group, seen.diel, seen.crowns) == ("lotos", "night", 4)
    assert (seen.traits, seen.chromosome_counts, seen.site_name) == (("red",), (56,), "pond")


def test_to_others_there_is_no_such_plant(donor: Grower, outsider: Grower) -> None:
    plant = make_plant(donor)
    for public_id in (plant.public_id, uuid4()):
        with pytest.raises(NotFound, match=r"^There is no such plant\.$"):
            plant_of(outsider, public_id)
    assert plants_of(outsider) == []


def test_of_a_plant_that_is_shown_others_read_a_region(donor: Grower) -> None:
    make_site(donor, keep_exact=True, region_level="country", nearest_town="Somewhere")
    plant = make_plant(donor, number="P-1", name_as_grown="'Dawn'", health_seen="clean", crowns=7)
    assert plants_for_others([plant.pk]) == {
        plant.pk: PlantForOthers(
            public_id=plant.public_id,
            name_as_grown="'Dawn'",
            taxon_name="",
            group="hardy",
            diel="day",
            identity="as_received",
            region=Region("country", "Europe", "FR"),
        )
    }


def test_nothing_that_leads_to_a_place_is_among_what_others_read(donor: Grower) -> None:
    for_others = {field.name for field in fields(PlantForOthers)}
    only_owner = {field.name for field in fields(PlantForOwner)} - for_others
    assert only_owner >= {"site_public_id", "site_name", "number", "crowns", "health_seen", "wild_country"}
    make_site(donor, keep_exact=True, region_level="climate_band", nearest_town="Somewhere")
    (shown,) = plants_for_others([make_plant(donor).pk]).values()
    text = str(asdict(shown))
    for secret in ("48.", "2.35", "2.25", "Somewhere", "pond", "donor", "Paris", "FR"):
        assert secret not in text


def test_a_parent_of_another_grower_keeps_its_number(donor: Grower, recipient: Grower) -> None:
    father = make_plant(donor, number="secret", name_as_grown="'Dawn'")
    mother = make_plant(recipient, number="P-1")
    seedling = plant_create(
        actor=recipient,
        site=mother.site,
        group="hardy",
        diel="day",
        seed_parent=mother,
        pollen_parent=father,
        shown_plant_ids=[father.pk],
    )
    seen = plant_of(recipient, seedling.public_id)
    assert seen.seed_parent == Parent(mother.public_id, "P-1", "unnamed seedling")
    assert seen.pollen_parent == Parent(father.public_id, "", "'Dawn'")


def test_many_plants_take_one_query(donor: Grower, django_assert_num_queries: object) -> None:
    mother = make_plant(donor, taxon=make_taxon())
    ids = [make_plant(donor, seed_parent=mother).pk for _ in range(4)]
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert len(plants_of(donor)) == 5
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert sorted(plants_for_others(ids)) == ids
