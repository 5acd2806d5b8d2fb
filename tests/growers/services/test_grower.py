"""Growers sign up, change their settings and leave."""

from datetime import UTC, date, datetime, time

import pytest

from growers.errors import NotFound
from growers.models import Change, Grower, Site, WeatherDay
from growers.services.grower import grower_close, grower_create, grower_update
from growers.services.plant import plant_update
from growers.services.site import site_create, site_update
from growers.services.weather import weather_day_set
from tests.clock import MovableClock
from tests.factories import make_grower, make_plant, make_site
from tests.growers.refusal import problems, refused

pytestmark = pytest.mark.django_db


def test_a_grower_signs_up_with_a_handle_alone() -> None:
    grower = grower_create(handle="  Pond\u00a0 Keeper ")
    stored = Grower.objects.get(pk=grower.pk)
    assert (stored.handle, stored.handle_skeleton) == ("Pond Keeper", "pondkeeper")
    assert (stored.email, stored.zone, stored.units, stored.may_be_asked) == (None, "UTC", "metric", False)
    assert not stored.has_usable_password()
    assert stored.is_active


def test_a_password_is_kept_as_a_hash_and_a_weak_one_is_refused() -> None:
    grower = grower_create(handle="keeper", password="a pond at dawn")
    assert grower.check_password("a pond at dawn")
    assert "pond" not in grower.password
    found = problems(lambda: grower_create(handle="other", password="password"))
    assert found == {"/password": "This password is too common."}


def test_all_settings_are_stored() -> None:
    grower = grower_create(
        handle="keeper",
        email="Keeper@Example.ORG",
        name="Somebody",
        language="de",
        units="us",
        zone="America/Chicago",
        quiet_from=time(21),
        quiet_until=time(7),
        countries_shipped_to=("FR", "US"),
        default_terms=["credit the donor"],
        may_be_asked=True,
        credit_line="from the pond",
    )
    stored = Grower.objects.get(pk=grower.pk)
    assert stored.email == "Keeper@example.org"
    assert (stored.quiet_from, stored.quiet_until) == (time(21), time(7))
    assert (stored.countries_shipped_to, stored.default_terms) == (["FR", "US"], ["credit the donor"])
    assert (stored.zone, stored.language, stored.units) == ("America/Chicago", "de", "us")


def test_everything_wrong_is_told_at_once(donor: Grower) -> None:
    found = problems(
        lambda: grower_create(
            handle="x",
            email="nobody",
            zone="Mars/Olympus",
            language="xx",
            units="feet",
            quiet_from=time(21),
            countries_shipped_to=["FR", "France"],
            default_terms=[""],
        )
    )
    assert found == {
        "/handle": "handle is 'x'; allowed: 2 to 40 characters.",
        "/email": "email is 'nobody'; allowed: an address such as name@example.org.",
        "/zone": "zone is 'Mars/Olympus'; allowed: an IANA time zone such as Europe/Paris.",
        "/language": "language is 'xx'; allowed: en, de.",
        "/units": "units is 'feet'; allowed: metric, us.",
        "/quiet_until": (
            "quiet_until is missing; allowed: a time of day, because quiet hours have a beginning and an end."
        ),
        "/countries_shipped_to": (
            "countries_shipped_to is 'France'; allowed: ISO 3166 codes of two capital letters such as FR."
        ),
        "/default_terms": "default_terms is missing; allowed: words of 1 to 60 characters.",
    }


def test_the_error_itself_is_the_first_sentence(donor: Grower) -> None:
    error = refused(lambda: grower_update(actor=donor, zone="Mars/Olympus"))
    assert str(error) == "zone is 'Mars/Olympus'; allowed: an IANA time zone such as Europe/Paris."
    assert error.code == "invalid_input"


@pytest.mark.parametrize("imitation", ["donor", "DONOR", "d0nor", "dоnоr", "do-nor", "donοr", "ｄｏｎｏｒ"])
def test_nobody_else_can_look_like_a_grower(donor: Grower, imitation: str) -> None:
    assert list(problems(lambda: grower_create(handle=imitation))) == ["/handle"]


def test_a_grower_may_respell_the_own_handle(donor: Grower) -> None:
    assert grower_update(actor=donor, handle="Do-Nor").handle == "Do-Nor"


def test_an_address_is_used_once_whatever_its_case(donor: Grower) -> None:
    found = problems(lambda: grower_create(handle="other", email="DONOR@example.org"))
    assert found == {"/email": "email is 'DONOR@example.org'; allowed: an address that no grower uses yet."}


@pytest.mark.parametrize("name", ["two\nlines", "nul\x00", "\u202ereversed", "x" * 121])
def test_text_that_cannot_be_shown_is_refused(donor: Grower, name: str) -> None:
    assert list(problems(lambda: grower_update(actor=donor, name=name))) == ["/name"]


def test_an_update_leaves_what_it_does_not_name(donor: Grower) -> None:
    grower_update(actor=donor, zone="Europe/Paris", credit_line="from the pond")
    updated = grower_update(actor=donor, may_be_asked=True)
    assert (updated.zone, updated.credit_line, updated.may_be_asked) == (
        "Europe/Paris",
        "from the pond",
        True,
    )
    assert updated.email == "donor@example.org"


@pytest.mark.parametrize(
    "field", ["id", "public_id", "closed_at", "handle_skeleton", "password", "created_at"]
)
def test_a_field_that_is_not_the_growers_to_set_is_no_field(donor: Grower, field: str) -> None:
    with pytest.raises(TypeError, match=field):
        grower_update(actor=donor, **{field: 1})  # type: ignore[arg-type]


def test_closing_empties_the_row_and_keeps_its_id(donor: Grower, clock: MovableClock) -> None:
    clock.set(datetime(2027, 3, 1, 12, tzinfo=UTC))
    grower_update(actor=donor, name="Somebody", zone="Europe/Paris", credit_line="from the pond")
    grower_close(actor=donor)
    row = Grower.objects.get(pk=donor.pk)
    assert (row.public_id, row.created_at) == (donor.public_id, donor.created_at)
    assert (row.handle, row.name, row.email, row.zone, row.credit_line) == (
        "former grower",
        "",
        None,
        "UTC",
        "",
    )
    assert not row.has_usable_password()
    assert row.closed_at is not None
    assert row.closed_at.date() == date(2027, 3, 1)
    assert not row.is_active


def test_closing_blurs_the_sites_and_keeps_the_plants(donor: Grower, clock: MovableClock) -> None:
    clock.set(datetime(2027, 3, 1, 12, tzinfo=UTC))
    site = make_site(
        donor, keep_exact=True, nearest_town="Somewhere", subdivision="FR-75", region_level="cell"
    )
    plant = make_plant(donor, site=site)
    weather_day_set(actor=donor, site=site, measured_on=date(2027, 2, 1), mean_c=4.0)
    grower_close(actor=donor)
    blurred = Site.objects.get(pk=site.pk)
    assert (blurred.latitude_deg, blurred.longitude_deg) == (None, None)
    assert (blurred.nearest_town, blurred.subdivision, blurred.region_level) == ("", "", "climate_band")
    assert blurred.name == str(site.public_id)
    assert (blurred.cell_latitude_deg, blurred.cell_longitude_deg) == (48.75, 2.25)
    assert not WeatherDay.objects.exists()
    assert plant.grower.plants.count() == 1
    kinds = set(Change.objects.values_list("kind", flat=True))
    assert {"grower", "site", "weather"} <= kinds


def test_the_handle_of_a_closed_account_stays_taken(donor: Grower) -> None:
    grower_close(actor=donor)
    assert list(problems(lambda: grower_create(handle="d0nor"))) == ["/handle"]
    assert not Grower.objects.filter(handle_skeleton__contains="donor").exists()


def test_many_can_close_and_their_addresses_are_free_again(donor: Grower, recipient: Grower) -> None:
    grower_close(actor=donor)
    grower_close(actor=recipient)
    assert make_grower("newcomer", email="donor@example.org").email == "donor@example.org"


def test_a_closed_account_writes_nothing(donor: Grower) -> None:
    site, plant = make_site(donor), make_plant(donor)
    grower_close(actor=donor)
    refused(lambda: grower_update(actor=donor, name="Back"), NotFound)
    refused(lambda: grower_close(actor=donor), NotFound)
    refused(lambda: make_site(donor, name="new"), NotFound)
    refused(lambda: site_update(actor=donor, site=site, name="new"), NotFound)
    refused(lambda: plant_update(actor=donor, plant=plant, crowns=2), NotFound)
    refused(lambda: site_create(actor=donor, name="new"), NotFound)
