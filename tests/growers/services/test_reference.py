"""The reference tables: every row sourced, loaded whole or not at all, and true to the traps of the trade."""

import csv
import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, time
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from growers.errors import InvalidInput
from growers.models import Change, Grower, ReferenceLoad, Taxon
from growers.services.reference import FOLDER, reference_load
from growers.services.reference_table import STATUSES
from tests.clock import MovableClock
from tests.factories import make_plant

FILES = sorted(FOLDER.glob("*.csv"))
ROWS = [
    pytest.param(row, id=f"{path.stem}-{number}")
    for path in FILES
    for number, row in enumerate(csv.DictReader(path.read_text(encoding="utf-8").splitlines()), start=2)
]
HARDY = "Nymphaea subg. Nymphaea"


@pytest.mark.parametrize("row", ROWS)
def test_every_row_has_a_source_and_a_status(row: dict[str, str]) -> None:
    assert len(row["source"].strip()) >= 10
    assert row["status"] in STATUSES


def test_all_five_tables_are_looked_at() -> None:
    tables = {str(param.id).rsplit("-", 1)[0] for param in ROWS}
    assert tables == {"chromosome", "group", "opening_hour", "sterility", "taxon"}
    assert len(ROWS) > 150


def test_a_printed_number_is_used_as_printed_or_said_to_be_chosen() -> None:
    for row in csv.DictReader((FOLDER / "group.csv").read_text(encoding="utf-8").splitlines()):
        printed = re.findall(r"[0-9]+", row["printed"])
        pollen_range = row["quantity"].startswith("pollen") and len(printed) == 2
        if not pollen_range and row["status"] in ("read", "abstract"):
            assert row["value"] in printed, row
        if len(set(printed)) > 1 and not pollen_range and row["taxon"] != "Nymphaea subg. Lotos":
            assert row["status"] == "judgement", row


# --- what was loaded ---


@pytest.fixture
def loaded(db: None) -> None:
    reference_load()


def taxon(name: str) -> Taxon:
    return Taxon.objects.get(name=name)


def days(name: str) -> tuple[int, int, int, int]:
    row = taxon(name)
    return row.flower_days, row.receptive_day, row.pollen_first_day, row.pollen_last_day


@pytest.mark.usefixtures("loaded")
def test_every_group_has_one_row_with_its_defaults() -> None:
    rows = Taxon.objects.filter(rank="group").order_by("group")
    assert {row.group: (row.diel, *days(row.name)) for row in rows} == {
        "hardy": ("day", 3, 1, 2, 3),
        "brachyceras": ("day", 3, 1, 2, 3),
        "anecphya": ("day", 5, 1, 2, 3),
        "lotos": ("night", 4, 1, 2, 3),
        "hydrocallis": ("night", 2, 1, 2, 2),
        "victoria": ("night", 2, 1, 2, 2),
        "nelumbo": ("day", 3, 1, 2, 3),
    }
    assert rows.count() == 7


@pytest.mark.usefixtures("loaded")
def test_a_day_opening_lotos_is_not_taken_for_a_day_group() -> None:
    petersiana = taxon("Nymphaea petersiana")
    assert (petersiana.group, petersiana.diel) == ("lotos", "day")
    assert petersiana.sources["group"]["status"] == "abstract"
    assert set(
        Taxon.objects.filter(group="lotos").exclude(pk=petersiana.pk).values_list("diel", flat=True)
    ) == {"night"}


@pytest.mark.usefixtures("loaded")
def test_mexicana_opens_two_days_and_sheds_on_the_second_only() -> None:
    assert days("Nymphaea mexicana") == (2, 1, 2, 2)
    assert taxon("Nymphaea mexicana").opens_at == time(11)
    assert taxon("Nymphaea mexicana").sources["pollen_last_day"]["status"] == "abstract"


@pytest.mark.usefixtures("loaded")
def test_odorata_opens_three_days_and_sheds_on_the_second_and_third() -> None:
    assert days("Nymphaea odorata") == (3, 1, 2, 3)
    assert taxon("Nymphaea odorata").sources["flower_days"] == {
        "source": "Schneider & Chaney 1981, The Floral Biology of Nymphaea odorata, Southwestern Naturalist "
        "26(2):159-165, doi 10.2307/3671112",
        "status": "abstract",
    }


@pytest.mark.usefixtures("loaded")
def test_thermarum_sheds_before_it_opens() -> None:
    assert days("Nymphaea thermarum") == (3, 1, 0, 1)
    assert "emasculate in bud" in taxon("Nymphaea thermarum").note


@pytest.mark.usefixtures("loaded")
def test_a_lotus_night_goes_on_to_the_next_day() -> None:
    lotus = taxon("Nymphaea lotus")
    assert (lotus.opens_at, lotus.closes_at, lotus.diel) == (time(19, 30), time(11), "night")
    assert (lotus.flower_days, lotus.sources["flower_days"]["status"]) == (4, "read")


@pytest.mark.usefixtures("loaded")
@pytest.mark.parametrize(
    ("name", "seed", "pollen", "status"),
    [
        ("Nymphaea × thiona", "no", "no", "read"),
        ("Nymphaea siamensis", "no", "no", "abstract"),
        ("Nymphaea rubra", "poor", "poor", "read"),
        ("Nymphaea prolifera", "poor", "unknown", "abstract"),
        ("Nymphaea rubra 'Maeploi'", "yes", "yes", "abstract"),
    ],
)
def test_sterile_and_doubtful_parents_are_known(name: str, seed: str, pollen: str, status: str) -> None:
    row = taxon(name)
    assert (row.seed_fertility, row.pollen_fertility) == (seed, pollen)
    assert row.sources["fertility"]["status"] == status


@pytest.mark.usefixtures("loaded")
def test_fertility_that_nobody_told_is_unknown_and_has_no_source() -> None:
    alba = taxon("Nymphaea alba")
    assert (alba.seed_fertility, alba.pollen_fertility) == ("unknown", "unknown")
    assert "fertility" not in alba.sources


@pytest.mark.usefixtures("loaded")
@pytest.mark.parametrize(
    "epithet", ["violacea", "elleniae", "hastifolia", "lukei", "noelae", "ondinea", "vaporalis"]
)
def test_confluentes_counts_as_anecphya(epithet: str) -> None:
    row = taxon(f"Nymphaea {epithet}")
    assert row.group == "anecphya"
    assert "Confluentes" in row.note


@pytest.mark.usefixtures("loaded")
@pytest.mark.parametrize(
    ("name", "counts", "ploidy"),
    [
        ("Nymphaea amazonum", [18], None),
        ("Nymphaea tenuinervia", [20], None),
        ("Nymphaea jamesoniana", [28], 2.0),
        ("Nymphaea gigantea", [224], 16.0),
        ("Nymphaea odorata", [56, 84], None),
        ("Nymphaea mexicana", [56], 4.0),
        ("Nymphaea candida", [112, 160], None),
        ("Nymphaea × daubenyana", [42, 87, 89], None),
        ("Nymphaea pubescens", [84, 56], None),
        ("Nelumbo nucifera", [16], 2.0),
        ("Victoria amazonica", [20], None),
        ("Nymphaea alba", [], None),
    ],
)
def test_counts_are_lists_and_a_ploidy_only_where_they_agree(
    name: str, counts: list[int], ploidy: float | None
) -> None:
    assert (taxon(name).chromosome_counts, taxon(name).ploidy) == (counts, ploidy)


@pytest.mark.usefixtures("loaded")
def test_several_sources_are_as_well_verified_as_the_least() -> None:
    assert taxon("Nymphaea × daubenyana").sources["chromosomes"]["source"].count(" | ") == 1
    assert taxon("Nymphaea gigantea").sources["flower_days"]["status"] == "read"
    assert taxon("Nymphaea gigantea").sources["flower"]["status"] == "judgement"


@pytest.mark.usefixtures("loaded")
def test_a_number_taken_from_another_taxon_says_so_and_is_our_own_choice() -> None:
    assert taxon("Nymphaea alba").sources["pollen_first_day"] == {
        "source": f"default of {HARDY}: Schneider & Chaney 1981, The Floral Biology of Nymphaea odorata, "
        "Southwestern Naturalist 26(2):159-165, doi 10.2307/3671112 [abstract]",
        "status": "judgement",
    }
    assert "default of Nymphaea capensis" not in str(taxon("Nymphaea capensis var. zanzibariensis").sources)
    assert "default of Nymphaea odorata:" in str(taxon("Nymphaea odorata subsp. tuberosa").sources)


@pytest.mark.usefixtures("loaded")
def test_pollen_days_that_were_not_found_are_said_to_be_chosen() -> None:
    lotos, anecphya = taxon("Nymphaea subg. Lotos").sources, taxon("Nymphaea subg. Anecphya").sources
    assert (lotos["pollen_first_day"]["status"], lotos["pollen_last_day"]["status"]) == (
        "memory",
        "judgement",
    )
    assert anecphya["pollen_first_day"]["status"] == "judgement"
    assert "not found in the sources" in anecphya["pollen_first_day"]["source"]


@pytest.mark.usefixtures("loaded")
def test_every_value_of_every_taxon_has_its_source() -> None:
    for row in Taxon.objects.all():
        held = {"group", "flower", "flower_days", "receptive_day", "pollen_first_day", "pollen_last_day"}
        held |= {"hours"} if row.opens_at or row.closes_at else set()
        held |= {"chromosomes"} if row.chromosome_counts else set()
        held |= (
            {"fertility"} if (row.seed_fertility, row.pollen_fertility) != ("unknown", "unknown") else set()
        )
        assert set(row.sources) == held
        assert all(entry["source"] and entry["status"] in STATUSES for entry in row.sources.values())
        assert 1 <= row.receptive_day <= row.flower_days
        assert row.pollen_first_day <= row.pollen_last_day <= row.flower_days


# --- loading ---


def snapshot() -> list[list[tuple[object, ...]]]:
    return [list(model.objects.order_by("pk").values_list()) for model in (Taxon, ReferenceLoad, Change)]


@pytest.mark.django_db
def test_loading_notes_every_taxon_and_stamps_every_table() -> None:
    report = reference_load()
    assert (report.created, report.updated, report.unchanged) == (Taxon.objects.count(), 0, 0)
    assert sorted(Change.objects.values_list("kind", "subject_id")) == sorted(
        ("taxon", pk) for pk in Taxon.objects.values_list("pk", flat=True)
    )
    assert dict(ReferenceLoad.objects.values_list("table", "row_count")) == report.row_counts
    assert sum(report.row_counts.values()) == len(ROWS)


@pytest.mark.django_db
def test_loading_again_touches_nothing(clock: MovableClock) -> None:
    reference_load()
    before = snapshot()
    clock.set(datetime(2031, 1, 1, tzinfo=UTC))
    assert reference_load().changed_tables == ()
    assert snapshot() == before


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the tables that a test may change."""
    for path in FILES:
        shutil.copy(path, tmp_path)
    return tmp_path


def edit(folder: Path, table: str, change: Callable[[str], str]) -> None:
    path = folder / f"{table}.csv"
    before = path.read_text(encoding="utf-8")
    after = change(before)
    assert after != before
    path.write_text(after, encoding="utf-8")


@pytest.mark.django_db
def test_a_changed_file_changes_the_taxa_it_concerns_and_keeps_their_rows(
    folder: Path, donor: Grower
) -> None:
    reference_load(folder=folder)
    plant = make_plant(donor, taxon=taxon("Nymphaea mexicana"))
    stamps = dict(ReferenceLoad.objects.values_list("table", "sha256"))
    Change.objects.all().delete()
    edit(folder, "opening_hour", lambda text: text.replace("11:00,16:00,yes", "10:30,16:00,yes", 1))
    report = reference_load(folder=folder)
    assert (report.changed_tables, report.created, report.updated) == (("opening_hour",), 0, 1)
    plant.refresh_from_db()
    assert plant.taxon is not None
    assert plant.taxon.opens_at == time(10, 30)
    assert list(Change.objects.values_list("kind", "subject_id")) == [("taxon", plant.taxon.pk)]
    changed = {
        table
        for table, sha256 in ReferenceLoad.objects.values_list("table", "sha256")
        if stamps[table] != sha256
    }
    assert changed == {"opening_hour"}


@pytest.mark.django_db
def test_a_default_that_changes_reaches_the_taxa_that_take_it(folder: Path) -> None:
    reference_load(folder=folder)
    row = "Nymphaea subg. Hydrocallis,flower_days,2,"
    edit(folder, "group", lambda text: text.replace(f"{row}2,", f"{row}3,"))
    report = reference_load(folder=folder)
    assert days("Nymphaea jamesoniana") == (3, 1, 2, 2)
    assert days("Nymphaea amazonum") == (2, 1, 2, 2)
    assert report.updated == 5


@pytest.mark.django_db
def test_a_name_that_leaves_the_file_stays_because_plants_may_be_of_it(folder: Path) -> None:
    reference_load(folder=folder)
    edit(folder, "taxon", lambda text: re.sub(r"Nymphaea ampla,.*\n", "", text))
    assert reference_load(folder=folder).updated == 0
    assert taxon("Nymphaea ampla").group == "brachyceras"


MALFORMED = [
    (
        "taxon",
        lambda text: text.replace(",diel,", ",habit,", 1),
        "taxon.csv: Row 1: the column diel is missing; needed: name, rank, group, default_from, "
        "origin_groups, diel, note, source, status. (2 problems in all.)",
    ),
    (
        "sterility",
        lambda text: text.replace(",read\n", ",surely\n", 1),
        "sterility.csv: Row 2, column status: it is 'surely'; allowed: read, abstract, memory, practice, "
        "judgement, definition, computed.",
    ),
    (
        "chromosome",
        lambda text: re.sub(r',"[^"]*",read\n', ",,read\n", text, count=1),
        "chromosome.csv: Row 2, column source: it is missing; allowed: 1 to 1000 characters.",
    ),
    (
        "taxon",
        lambda text: text.replace("alba,species,hardy", "alba,species,hardly"),
        "taxon.csv: Row 9, column group: it is 'hardly'; allowed: hardy, brachyceras, anecphya, lotos, "
        "hydrocallis, victoria, nelumbo, confluentes.",
    ),
    (
        "group",
        lambda text: text.replace("odorata,pollen_last_day,2-3,3", "odorata,pollen_last_day,2-3,1"),
        "group.csv: Row 33, column value: it is '1'; allowed: 2 to 3 for pollen_last_day of Nymphaea "
        "odorata, in order and within its flower_days.",
    ),
    (
        "group",
        lambda text: text.replace("Nymphaea mexicana,flower_days,2,2", "Nymphaea mexicana,flower_days,2,1"),
        "group.csv: Row 36, column value: it is '2'; allowed: 0 to 1 for pollen_first_day of Nymphaea "
        "mexicana, in order and within its flower_days.",
    ),
    (
        "group",
        lambda text: re.sub(r"Nelumbo,receptive_day,.*\n", "", text),
        "group.csv: Row 1, column quantity: it is missing; allowed: a row with receptive_day for Nelumbo, "
        "which Nelumbo needs.",
    ),
    (
        "opening_hour",
        lambda text: text.replace("Nymphaea capensis,", "Nymphaea capensiss,", 1),
        "opening_hour.csv: Row 8, column taxon: it is 'Nymphaea capensiss'; allowed: a name of taxon.csv.",
    ),
    (
        "opening_hour",
        lambda text: text.replace("07:00,16:00,yes", "7am,16:00,yes", 1),
        "opening_hour.csv: Row 8, column opens_at: it is '7am'; allowed: a time such as 07:30.",
    ),
    (
        "chromosome",
        lambda text: text.replace("rubra,56,", "rubra,5600,"),
        "chromosome.csv: Row 20, column count_2n: it is '5600'; allowed: a whole number from 8 to 400.",
    ),
    (
        "taxon",
        lambda text: text.replace("Nymphaea candida,", "Nymphaea alba,"),
        "taxon.csv: Row 10, column name: it is 'Nymphaea alba'; allowed: once, and Nymphaea alba has it in "
        "row 9.",
    ),
    (
        "taxon",
        lambda text: re.sub(r"\nVictoria,group", "\nVictoria,genus", text),
        "taxon.csv: Row 1, column rank: it is missing; allowed: one row of rank group for victoria.",
    ),
    (
        "taxon",
        lambda text: text.replace("brachyceras,Nymphaea capensis,", "brachyceras,Nymphaea capensi,"),
        "taxon.csv: Row 21, column default_from: it is 'Nymphaea capensi'; allowed: a name that stands in a "
        "row above.",
    ),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("table", "change", "sentence"), MALFORMED, ids=range(len(MALFORMED)))
def test_a_malformed_table_is_refused_whole(
    folder: Path, table: str, change: Callable[[str], str], sentence: str
) -> None:
    reference_load()
    before = snapshot()
    edit(folder, table, change)
    edit(folder, "sterility", lambda text: text.replace("completely sterile", "wholly sterile"))
    with pytest.raises(InvalidInput) as caught:
        reference_load(folder=folder)
    assert caught.value.detail == sentence
    assert snapshot() == before


@pytest.mark.django_db
def test_a_missing_file_is_named(folder: Path) -> None:
    (folder / "chromosome.csv").unlink()
    with pytest.raises(InvalidInput, match=r"^chromosome\.csv: the file is missing"):
        reference_load(folder=folder)
    assert not Taxon.objects.exists()


@pytest.mark.django_db
def test_the_command_says_what_it_did_and_refuses_in_a_sentence(folder: Path) -> None:
    out = StringIO()
    call_command("load_reference", stdout=out)
    assert f"taxa: {Taxon.objects.count()} created, 0 updated, 0 unchanged" in out.getvalue()
    call_command("load_reference", stdout=out)
    assert out.getvalue().endswith("taxa: nothing to do\n")
    call_command("load_reference", force=True, stdout=out)
    assert out.getvalue().endswith(f"taxa: 0 created, 0 updated, {Taxon.objects.count()} unchanged\n")
    edit(folder, "taxon", lambda text: text.replace(",hardy,", ",woody,", 1))
    with pytest.raises(CommandError, match="column group: it is 'woody'"):
        call_command("load_reference", folder=folder, stdout=out)
