"""Weather days belong to the owner of the site, typed or read from a logger's file."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from growers.errors import InvalidInput, NotFound
from growers.models import Change, Grower, Site, WeatherDay
from growers.services.weather import weather_day_set, weather_days_import
from tests.clock import MovableClock
from tests.factories import make_site

pytestmark = pytest.mark.django_db

DAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def autumn(clock: MovableClock) -> None:
    """It is 24 November 2026."""
    clock.set(datetime(2026, 11, 24, 12, tzinfo=UTC))


@pytest.fixture
def site(donor: Grower) -> Site:
    site = make_site(donor)
    Change.objects.all().delete()
    return site


def stored() -> list[tuple[Any, ...]]:
    columns = ("measured_on", "minimum_c", "maximum_c", "mean_c", "water_c")
    return list(WeatherDay.objects.order_by("measured_on").values_list(*columns))


def refusals(actor: Grower, site: Site, text: str, **values: Any) -> list[str]:
    before = stored()
    with pytest.raises(InvalidInput) as caught:
        weather_days_import(actor=actor, site=site, content=text.encode(), **values)
    assert stored() == before
    assert not Change.objects.exists()
    return [problem.detail for problem in caught.value.problems]


def test_a_day_is_set_in_place_of_what_was_there_and_noted_for_its_site(donor: Grower, site: Site) -> None:
    weather_day_set(actor=donor, site=site, measured_on=DAY, minimum_c=9.5, maximum_c=21.0)
    weather_day_set(actor=donor, site=site, measured_on=DAY, water_c=17.25)
    assert stored() == [(DAY, None, None, None, 17.25)]
    assert list(Change.objects.values_list("kind", "subject_id")) == [("weather", site.pk)] * 2


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        (
            {},
            "mean_c is missing; allowed: a number in at least one of minimum_c, maximum_c, mean_c, water_c.",
        ),
        ({"maximum_c": 61.0}, "maximum_c is 61.0; allowed: -90 to 60."),
        ({"water_c": float("nan")}, "water_c is nan; allowed: -2 to 50."),
        (
            {"minimum_c": 20.0, "maximum_c": 10.0},
            "maximum_c is 10.0; allowed: 20, the minimum_c, or more.",
        ),
        ({"minimum_c": 9.0, "mean_c": 8.0}, "mean_c is 8.0; allowed: 9, the minimum_c, or more."),
        (
            {"measured_on": date(2026, 11, 25), "mean_c": 8.0},
            "measured_on is 2026-11-25; allowed: 1900-01-01 to 2026-11-24, today at the site.",
        ),
    ],
)
def test_a_day_that_cannot_be_is_refused(
    donor: Grower, site: Site, values: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(InvalidInput) as caught:
        weather_day_set(actor=donor, site=site, **({"measured_on": DAY} | values))
    assert caught.value.detail == sentence
    assert not stored()
    assert not Change.objects.exists()


def test_a_file_is_shown_then_written_with_one_note(donor: Grower, site: Site) -> None:
    content = b"date,tmin_c,tmax_c\n2026-06-01,9.5,21\n2026-06-02,-1,\n"
    said = weather_days_import(actor=donor, site=site, content=content, dry_run=True)
    assert (said.written, said.count("created"), stored()) == (False, 2, [])
    assert not Change.objects.exists()
    done = weather_days_import(actor=donor, site=site, content=content)
    assert (done.written, done.days) == (True, said.days)
    assert stored() == [(DAY, 9.5, 21.0, None, None), (date(2026, 6, 2), -1.0, None, None, None)]
    assert Change.objects.get().subject_id == site.pk


def test_air_and_water_can_come_from_two_files_and_again_without_change(donor: Grower, site: Site) -> None:
    air, water = b"date,tmean_c\n2026-06-01,15\n", b"date;water_c\n2026-06-01;17,5\n"
    weather_days_import(actor=donor, site=site, content=air)
    report = weather_days_import(actor=donor, site=site, content=water, decimal_mark=",")
    assert report.count("updated") == 1
    assert stored() == [(DAY, None, None, 15.0, 17.5)]
    Change.objects.all().delete()
    assert weather_days_import(actor=donor, site=site, content=air).count("unchanged") == 1
    assert not Change.objects.exists()


def test_every_wrong_row_of_a_file_is_named(donor: Grower, site: Site) -> None:
    text = (
        "date,tmin_c,tmax_c,tmean_c,water_c\n"
        "2026-06-01,9,21,,\n"
        "2026-06-02,,,,\n"
        "2026-06-03,warm,,,\n"
        "2026-06-04,22,21,,\n"
        "2027-06-05,9,21,,\n"
        "2026-06-01,10,21,,\n"
        ",10,21,,\n"
        "2026-06-08,,,,51\n"
    )
    assert refusals(donor, site, text) == [
        "Row 3, column tmean_c: it is missing; allowed: "
        "a number in at least one of tmin_c, tmax_c, tmean_c, water_c.",
        "Row 4, column tmin_c: it is 'warm'; allowed: -90 to 60, written with a decimal point.",
        "Row 5, column tmax_c: it is 21.0; allowed: 22, the tmin_c, or more.",
        "Row 6, column date: it is 2027-06-05; allowed: 1900-01-01 to 2026-11-24, today at the site.",
        "Row 8, column date: it is missing; allowed: a date such as 2026-06-01.",
        "Row 9, column water_c: it is '51'; allowed: -2 to 50, written with a decimal point.",
        "Row 7, column date: it is '2026-06-01'; allowed: a day once, and it stands in row 2.",
    ]


def test_a_row_is_held_against_what_is_on_record(donor: Grower, site: Site) -> None:
    weather_day_set(actor=donor, site=site, measured_on=DAY, maximum_c=21.0)
    Change.objects.all().delete()
    assert refusals(donor, site, "date,tmin_c\n2026-06-01,22\n") == [
        "Row 2, column tmax_c: it is 21.0; allowed: 22, the tmin_c, or more."
    ]


def test_a_file_without_a_date_column_is_refused(donor: Grower, site: Site) -> None:
    assert refusals(donor, site, "day,tmin_c\n2026-06-01,22\n")[0] == (
        "Row 1: the column date is missing; needed: date."
    )


def test_to_anybody_but_the_owner_the_site_does_not_exist(outsider: Grower, site: Site) -> None:
    with pytest.raises(NotFound, match=r"There is no such site\."):
        weather_day_set(actor=outsider, site=site, measured_on=DAY, mean_c=15.0)
    with pytest.raises(NotFound, match=r"There is no such site\."):
        weather_days_import(actor=outsider, site=site, content=b"date,tmean_c\n2026-06-01,15\n")
    assert not stored()
    assert not Change.objects.exists()
