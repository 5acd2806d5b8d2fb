"""Plants and seasons as tables: what goes out can come in again."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from growers.models import BloomSeason, Grower, Plant
from growers.selectors.table import PLANT_COLUMNS, SEASON_COLUMNS, plant_table, season_table
from growers.services.bloom_import import bloom_import
from growers.services.plant import plant_create
from growers.services.plant_import import plant_import
from tests.factories import make_plant, make_season, make_site, make_taxon

pytestmark = pytest.mark.django_db


def test_plants_go_out_and_come_in_again(donor: Grower, outsider: Grower) -> None:
    alike = [make_taxon(name=name) for name in ("Nymphaea × dusk", "Nymphaea 'Dusk'")]
    make_plant(
        donor,
        taxon=alike[1],
        name_as_grown='=cmd|"calc"',
        number="+7",
        crowns=3,
        traits=["red", "a; b", '"late"', "=1"],
        chromosome_counts=[56, 84],
        fertility_evidence="set seed, twice\u2019s enough",
        origin="wild",
        wild_country="FR",
        wild_year=1998,
        rights="claimed",
        health_seen="-",
    )
    mother, father = make_plant(donor, number="m", group="lotos", diel="night"), make_plant(donor, number="f")
    make_plant(donor, seed_parent=mother, pollen_parent=father, direction_known=False, identity="in_doubt")
    text = plant_table(donor)
    plant_import(actor=outsider, site=make_site(outsider), content=text.encode())
    assert plant_table(outsider) == text
    own = {"id", "public_id", "created_at", "grower_id", "site_id", "seed_parent_id", "pollen_parent_id"}
    told = [
        [{name: value for name, value in row.items() if name not in own} for row in rows]
        for rows in (
            Plant.objects.filter(grower=grower).order_by("pk").values() for grower in (donor, outsider)
        )
    ]
    assert told[0] == told[1] and len(told[0]) == 4
    child = Plant.objects.filter(grower=outsider).latest("pk")
    assert child.seed_parent is not None and child.pollen_parent is not None
    assert (child.seed_parent.grower, child.seed_parent.number) == (outsider, "m")
    assert child.pollen_parent.number == "f"


def test_another_growers_parent_and_plants_are_left_out(donor: Grower, recipient: Grower) -> None:
    theirs = make_plant(recipient, number="SECRET-7", name_as_grown="hidden one")
    mine = plant_create(
        actor=donor,
        site=make_site(donor),
        group="hardy",
        diel="day",
        pollen_parent=theirs,
        shown_plant_ids=[theirs.pk],
    )
    header, row = plant_table(donor).splitlines()
    cells = dict(zip(header.split(","), row.split(","), strict=True))
    assert (cells["number"], cells["pollen_parent"]) == (mine.number, "")


def test_plants_of_one_site_and_no_plants(donor: Grower) -> None:
    pond, glass = make_site(donor), make_site(donor, name="glass house")
    make_plant(donor, site=pond, number="A")
    make_plant(donor, site=glass, number="B")
    assert [row.split(",")[0] for row in plant_table(donor, glass.public_id).splitlines()] == ["number", "B"]
    assert plant_table(donor, donor.public_id) == ",".join(PLANT_COLUMNS) + "\r\n"


def test_seasons_go_out_and_come_in_again(donor: Grower, outsider: Grower) -> None:
    for grower in (donor, outsider):
        make_plant(grower, number="-1")
    plant = Plant.objects.get(grower=donor)
    make_season(plant, date(2025, 6, 1), date(2025, 9, 1))
    make_season(plant, date(2026, 6, 2))
    BloomSeason.objects.filter(first_flower_on=date(2025, 6, 1)).update(last_precision="week")
    text = season_table(donor)
    assert text.splitlines() == [
        ",".join(SEASON_COLUMNS),
        "'-1,2025-06-01,day,2025-09-01,week",
        "'-1,2026-06-02,day,,day",
    ]
    assert bloom_import(actor=outsider, content=text.encode()).count("created") == 2
    assert season_table(outsider) == text


def test_a_table_is_one_query_however_long(donor: Grower) -> None:
    parent = make_plant(donor, taxon=make_taxon())
    for expected in (2, 6):
        while Plant.objects.count() < expected:
            make_season(make_plant(donor, seed_parent=parent), date(2026, 6, 1))
        for table in (plant_table, season_table):
            with CaptureQueriesContext(connection) as captured:
                table(donor)
            assert len(captured) == 1
