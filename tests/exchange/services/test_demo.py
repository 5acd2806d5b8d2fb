"""Loading the demo's tables: all of it once, or nothing, with a sentence that names file, row and column."""

from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction

from exchange.management.commands import demo
from exchange.models import BorderNote, Lot, Offer, WantedCross
from exchange.services.demo import COLUMNS, READERS, demo_load
from growers.models import (
    BloomSaid,
    BloomSeason,
    BloomSighting,
    Change,
    Grower,
    Plant,
    Site,
    Taxon,
)
from growers.services.reference import reference_load
from tests.clock import MovableClock
from tests.exchange.demo_tables import cell_write, column_drop, small_tables, table_read, tables_copy
from tests.exchange.refusal import rows

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def reference(clock: MovableClock, db: None) -> None:
    clock.set(datetime(2026, 6, 20, 12, tzinfo=UTC))
    reference_load()


@pytest.fixture
def tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The small tables in the place of the demo's."""
    folder = small_tables(tmp_path)
    monkeypatch.setattr(demo, "FOLDER", folder)
    return folder


# --- what is loaded ---


def test_every_row_of_every_table_is_loaded(tmp_path: Path) -> None:
    folder = tables_copy(tmp_path)
    taxa = Taxon.objects.count()
    assert demo_load(folder)
    count = {name: len(table_read(folder / f"{name}.csv")) for name in COLUMNS}
    assert {
        "grower": Grower.objects.count(),
        "site": Site.objects.count(),
        "cultivar": Taxon.objects.count() - taxa,
        "plant": Plant.objects.count(),
        "bloom_season": BloomSeason.objects.count(),
        "bloom_said": BloomSaid.objects.count(),
        "bloom_sighting": BloomSighting.objects.count(),
        "offer": Offer.objects.count(),
        "wanted_cross": WantedCross.objects.count(),
        "border_note": BorderNote.objects.count(),
    } == count
    assert (count["grower"] >= 8, count["plant"] >= 30) == (True, True)
    in_hand = [row for row in table_read(folder / "offer.csv") if row["kind"] == "in_hand"]
    assert Lot.objects.count() == len(in_hand) > 0
    assert set(Change.objects.values_list("kind", flat=True)) == set(Change.Kind.values) - {"weather"}


def test_everything_loaded_says_that_it_is_invented(tmp_path: Path) -> None:
    demo_load(tables_copy(tmp_path))
    assert not Grower.objects.exclude(email__endswith="@demo.invalid").exists()
    assert all("invented" in name for name in Grower.objects.values_list("name", flat=True))
    made = Taxon.objects.filter(invented=True)
    assert made.count() == len(table_read(tmp_path / "cultivar.csv"))
    assert {source["source"] for taxon in made for source in taxon.sources.values()} == {
        "invented for the demo"
    }
    named = Taxon.objects.filter(rank="cultivar", plants__isnull=False)
    assert set(named) <= set(made)


def test_cells_are_read_as_what_they_mean(tables: Path) -> None:
    demo_load(tables)
    grower = Grower.objects.get(handle="weiherhof")
    assert (grower.zone, grower.countries_shipped_to) == ("Europe/Berlin", ["FR", "GB", "TH", "US", "ZA"])
    seedling = Plant.objects.get(number="W3")
    assert (seedling.seed_parent, seedling.pollen_parent) == (
        Plant.objects.get(number="W1"),
        Plant.objects.get(number="W2"),
    )
    assert (seedling.traits, seedling.crowns, seedling.origin) == (["white"], 2, "cultivated")
    wanted = WantedCross.objects.get(seed_parent__number="W1")
    assert [plant.number for plant in wanted.pollen_plants.all()] == ["B1"]
    assert (wanted.pollen_groups, wanted.flowers, wanted.least_chance) == (["hardy"], 4, 0.05)
    offer = Offer.objects.get(plant__number="B1")
    assert (offer.kind, offer.doses, offer.doses_per_flower, offer.posts_on_saturday) == (
        "on_request",
        6,
        2,
        False,
    )


def test_ids_that_draws_are_seeded_by_are_the_same_wherever_it_is_loaded(tables: Path) -> None:
    kinds = (Plant, Offer, WantedCross)
    found = []
    for _ in range(2):
        with transaction.atomic():
            assert demo_load(tables)
            found.append([set(kind.objects.values_list("public_id", flat=True)) for kind in kinds])
            transaction.set_rollback(True)
    assert found[0] == found[1]
    assert all(found[0])


def test_a_second_load_touches_nothing(tables: Path) -> None:
    assert demo_load(tables)
    before = rows()
    assert not demo_load(tables)
    assert rows() == before


def test_every_table_is_read() -> None:
    assert set(READERS) == set(COLUMNS) == {path.stem for path in demo.FOLDER.glob("*.csv")}


# --- what is refused ---


def refused(*options: str) -> str:
    """The sentence of the command that must change nothing."""
    before = rows()
    with pytest.raises(CommandError) as caught:
        call_command("demo", *options, stdout=StringIO(), stderr=StringIO())
    assert rows() == before
    return str(caught.value)


PLACES = "-90 to 90, written with a decimal point"
SPOILED = {
    ("grower", 2, "zone", "Europe/Bavaria"): "an IANA time zone such as Europe/Paris",
    ("grower", 3, "countries_shipped_to", "DE XX"): "ISO 3166 codes of two capital letters such as FR",
    ("site", 2, "latitude_deg", "95"): PLACES,
    ("site", 2, "latitude_deg", "north"): PLACES,
    ("site", 3, "grower", "nobody"): "one of the growers of this demo",
    ("site", 3, "water", "mud"): "outdoor, heated, glass",
    ("cultivar", 2, "pollen_first_day", "15"): "a whole number from 1 to 14",
    ("cultivar", 2, "chromosome_counts", "56 many"): "whole numbers with a space between them",
    ("plant", 4, "pollen_parent", "weiherhof W9"): "one of the plants of this demo",
    ("plant", 2, "taxon", "Nymphaea ignota"): "one of the taxa that are loaded",
    ("plant", 2, "site", "upper ponds"): "one of the sites of weiherhof",
    ("plant", 2, "crowns", "0"): "a whole number from 1 to 500",
    ("plant", 3, "number", "W1"): "a number that none of your plants has yet",
    ("bloom_season", 2, "first_flower_on", "3.6.2023"): "a date such as 2026-06-01",
    ("bloom_season", 2, "plant", "weiherhof W9"): "one of the plants of this demo",
    ("bloom_said", 2, "weak_months", "dec"): "whole numbers with a space between them",
    ("bloom_said", 2, "first_month", "13"): "a whole number from 1 to 12",
    ("bloom_said", 2, "all_year", "perhaps"): "yes, no",
    ("bloom_sighting", 2, "kind", "smelt"): "not_yet, bud, first_day_flowers, season_over",
    ("offer", 2, "kind", "on_demand"): "on_request, in_hand",
    ("offer", 2, "doses", "0"): "a whole number from 1 to 999",
    ("offer", 2, "treatment", "boiled"): "fresh, dried, frozen",
    ("offer", 2, "store", "freezer"): "nothing on request",
    ("offer", 2, "plant", "loire-bassin B9"): "one of the plants of this demo",
    ("wanted_cross", 2, "pollen_plants", "loire-bassin B9"): "one of the plants of this demo",
    ("wanted_cross", 2, "pollen_taxa", "Nymphaea ignota"): "one of the taxa that are loaded",
    ("wanted_cross", 2, "flowers", "13"): "a whole number from 1 to 12",
    ("wanted_cross", 2, "least_chance", "2"): "0 to 1, written with a decimal point",
}
"""Table, row, column, value: what is allowed."""
PARTS = {"chromosome_counts": "many"}
"""Of a list the part that is wrong."""


@pytest.mark.parametrize("spoiled", SPOILED, ids=lambda spoiled: f"{spoiled[0]}-{spoiled[2]}-{spoiled[3]}")
def test_a_wrong_cell_is_named_and_nothing_is_written(
    tables: Path, spoiled: tuple[str, int, str, str]
) -> None:
    table, row, column, value = spoiled
    cell_write(tables, table, row, column, value)
    said = PARTS.get(column, value)
    expected = f"{table}.csv: Row {row}, column {column}: it is '{said}'; allowed: {SPOILED[spoiled]}."
    assert refused() == expected


def test_a_season_longer_than_a_year_is_named(tables: Path) -> None:
    cell_write(tables, "bloom_season", 2, "last_flower_on", "2024-09-17")
    sentence = refused()
    assert sentence.startswith(
        "bloom_season.csv: Row 2, column last_flower_on: it is '2024-09-17'; allowed: "
    )


def test_an_empty_cell_is_said_to_be_missing(tables: Path) -> None:
    cell_write(tables, "plant", 2, "number", "")
    assert refused().startswith("plant.csv: Row 2, column number: it is missing; allowed: 1 to ")


def test_two_wrong_cells_of_a_row_are_counted(tables: Path) -> None:
    cell_write(tables, "offer", 2, "doses", "0")
    cell_write(tables, "offer", 2, "doses_per_flower", "51")
    assert refused().endswith("(2 problems in all.)")


@pytest.mark.parametrize("table", COLUMNS)
def test_a_missing_column_is_named(tables: Path, table: str) -> None:
    column = COLUMNS[table][-1]
    column_drop(tables, table, column)
    needed = ", ".join(COLUMNS[table])
    assert refused() == f"{table}.csv: Row 1: the column {column} is missing; needed: {needed}."


def test_a_missing_table_is_named(tables: Path) -> None:
    (tables / "offer.csv").unlink()
    needed = ", ".join(f"{table}.csv" for table in COLUMNS)
    assert refused() == f"offer.csv: the table is missing; needed: {needed}."


@pytest.mark.parametrize("said", ["15.6.2026", "2026-02-30", "1999-12-31", "2100-01-01", ""])
def test_a_day_that_cannot_be_is_refused_before_anything_is_done(tables: Path, said: str) -> None:
    sentence = refused(f"--today={said}")
    assert f"it is '{said}'; allowed: 2000-01-01 to 2099-12-31, written as 2026-06-15." in sentence


def test_a_json_file_that_has_no_folder_is_refused_before_anything_is_done(tables: Path) -> None:
    path = tables / "nowhere" / "demo.json"
    assert refused(f"--json={path}") == f"--json is {path}; allowed: a file in a folder that exists."
