"""A table of seasons is shown first, then written whole or not at all."""

from datetime import UTC, date, datetime

import pytest

from growers.errors import InvalidInput
from growers.models import BloomSeason, Change, Grower, Plant
from growers.services.bloom_import import BloomImport, ImportedSeason, bloom_import
from tests.clock import MovableClock
from tests.factories import make_plant, make_season

pytestmark = pytest.mark.django_db

HEADER = "plant,first_flower_on,last_flower_on,first_precision,last_precision\n"


@pytest.fixture(autouse=True)
def autumn(clock: MovableClock) -> None:
    """It is 24 November 2026."""
    clock.set(datetime(2026, 11, 24, 12, tzinfo=UTC))


@pytest.fixture
def plant(donor: Grower) -> Plant:
    plant = make_plant(donor, number="A-1")
    make_plant(donor, number="A-2")
    Change.objects.all().delete()
    return plant


def load(actor: Grower, text: str, *, dry_run: bool = False) -> BloomImport:
    return bloom_import(actor=actor, content=(HEADER + text).encode(), dry_run=dry_run)


def refusals(actor: Grower, text: str) -> list[str]:
    """What a table is refused with; nothing is written."""
    before = list(BloomSeason.objects.values_list())
    with pytest.raises(InvalidInput) as caught:
        load(actor, text)
    assert list(BloomSeason.objects.values_list()) == before
    assert not Change.objects.exists()
    return [problem.detail for problem in caught.value.problems]


TABLE = "A-1,2025-06-01,2025-08-20,week,\nA-1,2026-06-03,,,\nA-2,2025-07-01,2025-09-01,,month\n"


def test_a_dry_run_says_what_would_be_written_and_writes_nothing(donor: Grower, plant: Plant) -> None:
    report = load(donor, TABLE, dry_run=True)
    assert (report.written, report.count("created")) == (False, 3)
    assert report.seasons[0] == ImportedSeason(2, "A-1", date(2025, 6, 1), date(2025, 8, 20), "created")
    assert not BloomSeason.objects.exists()
    assert not Change.objects.exists()


def test_an_import_writes_what_the_dry_run_said_and_notes_each_plant_once(
    donor: Grower, plant: Plant
) -> None:
    said = load(donor, TABLE, dry_run=True)
    done = load(donor, TABLE)
    assert done.written
    assert done.seasons == said.seasons
    columns = ("plant__number", "first_flower_on", "last_flower_on", "first_precision", "last_precision")
    assert list(BloomSeason.objects.order_by("plant__number", "first_flower_on").values_list(*columns)) == [
        ("A-1", date(2025, 6, 1), date(2025, 8, 20), "week", "day"),
        ("A-1", date(2026, 6, 3), None, "day", "day"),
        ("A-2", date(2025, 7, 1), date(2025, 9, 1), "day", "month"),
    ]
    assert sorted(Change.objects.values_list("kind", "subject_id")) == sorted(
        ("bloom", pk) for pk in Plant.objects.values_list("pk", flat=True)
    )


def test_the_same_table_again_changes_nothing(donor: Grower, plant: Plant) -> None:
    load(donor, TABLE)
    before = list(BloomSeason.objects.values_list())
    Change.objects.all().delete()
    assert load(donor, TABLE).count("unchanged") == 3
    assert list(BloomSeason.objects.values_list()) == before
    assert not Change.objects.exists()


def test_a_season_on_record_is_completed_and_blank_cells_leave_it(donor: Grower, plant: Plant) -> None:
    season = make_season(plant, date(2026, 6, 3))
    said = load(donor, "A-1,2026-06-03,2026-09-01,week,\n", dry_run=True)
    done = load(donor, "A-1,2026-06-03,2026-09-01,week,\n")
    assert [report.count("updated") for report in (said, done)] == [1, 1]
    load(donor, "A-1,2026-06-03,,,\n")
    season.refresh_from_db()
    assert (season.last_flower_on, season.first_precision) == (date(2026, 9, 1), "week")


def test_every_wrong_row_is_named_with_column_value_and_what_is_allowed(donor: Grower, plant: Plant) -> None:
    table = (
        "A-1,2025-06-01,2025-08-20,,\n"
        "A-9,2025-06-01,,,\n"
        "A-1,1.6.2024,,,\n"
        "A-1,2023-05-01,2024-09-01,,\n"
        "A-1,2026-12-24,,,\n"
        "A-1,2022-06-01,2022-05-01,,\n"
        "A-1,2021-06-01,,about,\n"
        ",2020-06-01,,,\n"
        "A-1,2025-06-01,2025-08-21,,\n"
    )
    assert refusals(donor, table) == [
        "Row 3, column plant: it is 'A-9'; allowed: the number of a plant of yours.",
        "Row 4, column first_flower_on: it is '1.6.2024'; allowed: a date such as 2026-06-01.",
        "Row 5, column last_flower_on: last_flower_on is 2024-09-01, 489 days after first_flower_on; "
        "allowed: at most 365 days.",
        "Row 6, column first_flower_on: it is 2026-12-24; allowed: 1900-01-01 to 2026-11-24, "
        "today at the plant's site.",
        "Row 7, column last_flower_on: it is 2022-05-01; allowed: 2022-06-01, the first_flower_on, or later.",
        "Row 8, column first_precision: it is 'about'; allowed: day, week, month_third, month.",
        "Row 9, column plant: it is missing; allowed: 1 to 1000 characters.",
        "Row 10, column first_flower_on: it is '2025-06-01'; allowed: a season once, and it stands in row 2.",
    ]


def test_rows_that_overlap_each_other_or_the_record_are_refused(donor: Grower, plant: Plant) -> None:
    make_season(plant, date(2024, 6, 1), date(2024, 8, 1))
    Change.objects.all().delete()
    assert refusals(donor, "A-1,2025-06-01,2025-08-20,,\nA-1,2025-08-20,2025-09-01,,\n") == [
        "Row 3, column first_flower_on: first_flower_on is 2025-08-20, and a season from 2025-06-01 until "
        "2025-08-20 is in row 2; allowed: seasons of a plant that do not overlap."
    ]
    assert refusals(donor, "A-1,2024-05-01,2024-06-01,,\n") == [
        "Row 2, column first_flower_on: first_flower_on is 2024-05-01, and a season from 2024-06-01 until "
        "2024-08-01 is on record; allowed: seasons of a plant that do not overlap."
    ]


def test_a_missing_column_is_named(donor: Grower) -> None:
    with pytest.raises(InvalidInput, match="the column first_flower_on is missing"):
        bloom_import(actor=donor, content=b"plant\nA-1\n", dry_run=True)


def test_plants_of_others_cannot_be_told_from_plants_that_are_not(outsider: Grower, plant: Plant) -> None:
    (theirs,) = refusals(outsider, "A-1,2025-06-01,,,\n")
    (nobodys,) = refusals(outsider, "A-7,2025-06-01,,,\n")
    assert theirs.replace("A-1", "A-7") == nobodys
