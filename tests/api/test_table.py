"""Tables through the API: all rows or none, told by row and column; only one's own goes out."""

import uuid
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.test.utils import CaptureQueriesContext

from exchange.models import IdempotentAnswer
from growers.models import BloomSeason, Change, Grower, Plant, Site, WeatherDay
from growers.services import plant_import
from tests.api.caller import Answer, Caller
from tests.clock import MovableClock
from tests.factories import make_plant, make_season, make_site
from tests.growers.refusal import facts

pytestmark = pytest.mark.django_db

PLANTS = "number,name_as_grown,group,diel,crowns\n7,'Dusk',hardy,day,4\n,unnamed seedling,lotos,night,\n"
KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"


@pytest.fixture
def site(donor: Grower, clock: MovableClock) -> Site:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))
    return make_site(donor)


def form(**fields: object) -> bytes:
    return encode_multipart(BOUNDARY, fields)


def send(api: Caller, path: str, table: str | bytes, *, key: str = "", **fields: object) -> Answer:
    """A table as a file of a form."""
    return api.upload(path, table, header_idempotency_key=key or str(uuid.uuid4()), **fields)


# --- plants ---


def test_plants_come_in(site: Site, donor_api: Caller) -> None:
    Change.objects.all().delete()
    answer = send(donor_api, "plants/import", PLANTS, site_id=site.public_id)
    dusk, other = Plant.objects.order_by("pk")
    assert answer.status == 200
    assert answer.body == {
        "written": True,
        "rows": [
            {
                "row": 2,
                "id": str(dusk.public_id),
                "number": "7",
                "name_as_grown": "'Dusk'",
                "taxon_name": "",
                "group": "hardy",
                "diel": "day",
            },
            {
                "row": 3,
                "id": str(other.public_id),
                "number": "8",
                "name_as_grown": "unnamed seedling",
                "taxon_name": "",
                "group": "lotos",
                "diel": "night",
            },
        ],
    }
    assert donor_api.get(f"plants/{dusk.public_id}").body["crowns"] == 4
    assert Change.objects.filter(kind="plant").count() == 2


@pytest.mark.parametrize("word", ["true", "True"])
def test_a_dry_run_writes_nothing(site: Site, donor_api: Caller, word: str) -> None:
    before = facts()
    shown = send(donor_api, "plants/import", PLANTS, site_id=site.public_id, dry_run=word)
    assert facts() == before
    assert (shown.status, shown.body["written"]) == (200, False)
    assert [(row["id"], row["number"]) for row in shown.body["rows"]] == [(None, "7"), (None, "8")]


def test_everything_wrong_is_told_by_row_and_column_and_nothing_is_written(
    site: Site, donor_api: Caller
) -> None:
    table = "name_as_grown,group,diel,crowns\nfine,hardy,day,1\nbad,roses,day,900\n"
    before = facts()
    refused = send(donor_api, "plants/import", table, site_id=site.public_id)
    assert facts() == before
    assert (refused.status, refused.code) == (422, "invalid_input")
    assert [(each["row"], each["column"], each["code"]) for each in refused.body["errors"]] == [
        (3, "crowns", "not_in_range"),
        (3, "group", "not_allowed"),
    ]
    assert refused.body["errors"][0] == {
        "code": "not_in_range",
        "detail": "Row 3, column crowns: it is '900'; allowed: a whole number from 1 to 500.",
        "row": 3,
        "column": "crowns",
        "allowed": "a whole number from 1 to 500",
    }


@pytest.mark.parametrize(
    ("table", "code", "detail"),
    [
        (b"", "table_empty", "Row 1: the table is empty; allowed: a header row."),
        (b"name_as_grown\n\xff\n", "not_utf8", "Line 2: it holds the byte 0xff; allowed: text in UTF-8."),
        (b"name_as_grown\na\0b\n", "not_text", "Line 2: it holds a zero byte; allowed: text in UTF-8."),
        (
            b'name_as_grown\n"a"b\n',
            "not_csv",
            "Line 2: it is not CSV (',' expected after '\"'); allowed: cells quoted as in RFC 4180.",
        ),
        (
            b"name\tgroup\n",
            "column_missing",
            "Row 1: the column name_as_grown is missing; needed: name_as_grown.",
        ),
        (
            b"x" * 1_000_001,
            "table_too_long",
            "Table: it has 1000001 bytes; allowed: at most 1000000.",
        ),
    ],
)
def test_what_is_no_table_is_refused_as_a_whole(
    site: Site, donor_api: Caller, table: bytes, code: str, detail: str
) -> None:
    before = facts()
    refused = send(donor_api, "plants/import", table, site_id=site.public_id)
    assert facts() == before
    assert (refused.status, refused.code) == (422, "invalid_input")
    told = refused.body["errors"][0]
    assert (told["code"], told["detail"]) == (code, detail)
    assert "pointer" not in told


def test_too_many_rows_and_too_large_a_body_are_refused(
    site: Site, donor_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = facts()
    refused = send(donor_api, "plants/import", b"x" * 1_100_000, site_id=site.public_id)
    assert (refused.status, refused.code) == (413, "too_large")
    monkeypatch.setattr(plant_import, "MOST_PLANTS", 1)
    refused = send(donor_api, "plants/import", PLANTS, site_id=site.public_id)
    assert (refused.status, refused.body["errors"][0]["code"]) == (422, "too_many_rows")
    assert facts() == before


def test_a_form_is_read_strictly(site: Site, donor_api: Caller) -> None:
    before = facts()
    place = str(site.public_id)
    for fields, faults in (
        ({"site_id": place, "dry_run": "yes"}, {"/dry_run": "invalid"}),
        ({"site_id": place, "colour": "red"}, {"/colour": "unknown_field"}),
        ({"site_id": "here"}, {"/site_id": "invalid"}),
        ({}, {"/site_id": "required"}),
        ({"site_id": [place, place]}, {"/site_id": "repeated"}),
    ):
        refused = send(donor_api, "plants/import", PLANTS, **fields)
        assert (refused.status, refused.code, refused.faults) == (400, "does_not_fit", faults)
    for body, faults in (
        (form(site_id=place), {"/file": "required"}),
        (form(site_id=place, file=PLANTS), {"/file": "invalid"}),
    ):
        refused = donor_api.post("plants/import", body, content_type=MULTIPART_CONTENT)
        assert (refused.status, refused.faults) == (400, faults)
    refused = donor_api.post("plants/import", {"site_id": place})
    assert (refused.status, refused.code) == (415, "media_type")
    torn = donor_api.post("plants/import", b"torn", content_type="multipart/form-data")
    assert (torn.status, torn.code) == (400, "malformed")
    assert facts() == before


def test_a_table_sent_again_is_taken_once(site: Site, donor_api: Caller) -> None:
    assert donor_api.call("POST", "plants/import", b"", content_type=MULTIPART_CONTENT).code == (
        "idempotency_key_missing"
    )
    first = send(donor_api, "plants/import", PLANTS, key=KEY, site_id=site.public_id)
    again = send(donor_api, "plants/import", PLANTS, key=KEY, site_id=site.public_id)
    assert again.response.content == first.response.content
    assert again["Idempotency-Replayed"] == "true"
    assert Plant.objects.count() == 2
    for table, fields in ((PLANTS + "9,c,hardy,day,1\n", {}), (PLANTS, {"dry_run": "true"})):
        other = send(donor_api, "plants/import", table, key=KEY, site_id=site.public_id, **fields)
        assert (other.status, other.code) == (422, "key_reused")
    stored = IdempotentAnswer.objects.get()
    assert b"Dusk" not in bytes(stored.answer)


def test_another_growers_site_is_not_there(
    site: Site, outsider_api: Caller, nobody: Caller, outsider: Grower
) -> None:
    before = facts()
    told = []
    for place in (str(site.public_id), KEY):
        refused = outsider_api.upload("plants/import", PLANTS, site_id=place, header_x_request_id="the-same")
        assert (refused.status, refused.faults) == (422, {"/site_id": "not_found"})
        told.append(refused.response.content)
    assert told[0] == told[1]
    assert send(nobody, "plants/import", PLANTS, site_id=site.public_id).status == 401
    assert facts() == before


def test_what_is_exported_is_imported_and_each_exports_their_own(
    site: Site, donor: Grower, donor_api: Caller, outsider: Grower, outsider_api: Caller, nobody: Caller
) -> None:
    make_plant(donor, name_as_grown="=1+1", number="7")
    out = donor_api.get("plants/export")
    assert out.status == 200
    assert out["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert out["Content-Disposition"] == 'attachment; filename="plant_export.csv"'
    assert out["X-Content-Type-Options"] == "nosniff"
    header, row = out.response.content.decode().splitlines()
    assert header.startswith("number,name_as_grown,") and row.startswith("7,'=1+1,")
    assert donor_api.get("plants/export", if_none_match=out["ETag"]).status == 304
    assert outsider_api.get("plants/export").response.content.decode() == f"{header}\r\n"
    there = make_site(outsider)
    send(outsider_api, "plants/import", out.response.content, site_id=there.public_id)
    assert outsider_api.get("plants/export").response.content == out.response.content
    assert outsider_api.get("plants").body["results"][0]["name_as_grown"] == "=1+1"
    assert (
        outsider_api.get(f"plants/export?site={site.public_id}").response.content.decode() == f"{header}\r\n"
    )
    assert outsider_api.get("plants/export?format=xlsx").faults == {"format": "unknown_field"}
    assert nobody.get("plants/export").status == 401


def test_an_export_costs_the_same_however_long(site: Site, donor: Grower, donor_api: Caller) -> None:
    donor_api.get("me")
    for expected in (1, 6):
        while Plant.objects.count() < expected:
            make_season(make_plant(donor), date(2026, 6, 1))
        for path in ("plants/export", "bloom-seasons/export"):
            with CaptureQueriesContext(connection) as captured:
                assert len(donor_api.get(path).response.content.splitlines()) == expected + 1
            assert len(captured) == 2  # the token with its grower, the rows


# --- seasons ---


def test_seasons_come_in_and_go_out(
    site: Site, donor: Grower, donor_api: Caller, outsider: Grower, outsider_api: Caller
) -> None:
    plant = make_plant(donor, number="7")
    make_plant(outsider, number="8")
    make_season(plant, date(2025, 6, 1))
    table = "plant,first_flower_on,last_flower_on\n7,2025-06-01,2025-09-01\n7,2026-06-08,\n"
    told = {
        "rows": [
            {
                "row": 2,
                "plant_number": "7",
                "first_flower_on": "2025-06-01",
                "last_flower_on": "2025-09-01",
                "action": "updated",
            },
            {
                "row": 3,
                "plant_number": "7",
                "first_flower_on": "2026-06-08",
                "last_flower_on": None,
                "action": "created",
            },
        ]
    }
    before = facts()
    assert send(donor_api, "bloom-seasons/import", table, dry_run="true").body == {"written": False, **told}
    assert facts() == before
    assert send(donor_api, "bloom-seasons/import", table).body == {"written": True, **told}
    assert BloomSeason.objects.count() == 2
    strange = send(outsider_api, "bloom-seasons/import", table)
    assert (strange.status, strange.body["errors"][0]["code"]) == (422, "no_such_plant")
    out = donor_api.get("bloom-seasons/export")
    assert out.response.content.decode().splitlines() == [
        "plant,first_flower_on,first_precision,last_flower_on,last_precision",
        "7,2025-06-01,day,2025-09-01,day",
        "7,2026-06-08,day,,day",
    ]
    again = send(donor_api, "bloom-seasons/import", out.response.content)
    assert {row["action"] for row in again.body["rows"]} == {"unchanged"}
    assert len(outsider_api.get("bloom-seasons/export").response.content.splitlines()) == 1


# --- weather ---


def test_weather_of_a_logger_comes_in_with_its_decimal_mark(
    site: Site, donor_api: Caller, outsider_api: Caller
) -> None:
    path = f"sites/{site.public_id}/weather-days/import"
    table = "date;tmin_c;water_c\n2027-06-20;12,5;21\n"
    before = facts()
    wrong = send(donor_api, path, table)
    assert wrong.body["errors"][0]["detail"] == (
        "Row 2, column tmin_c: it is '12,5'; allowed: -90 to 60, written with a decimal point."
    )
    strange = send(outsider_api, path, table, decimal_mark=",")
    assert (strange.status, strange.code) == (404, "not_found")
    odd = send(donor_api, path, table, decimal_mark=";")
    assert (odd.status, odd.faults) == (400, {"/decimal_mark": "invalid_choice"})
    told = {"rows": [{"row": 2, "measured_on": "2027-06-20", "action": "created"}]}
    dry = send(donor_api, path, table, decimal_mark=",", dry_run="true")
    assert dry.body == {"written": False, **told}
    assert facts() == before
    assert send(donor_api, path, table, decimal_mark=",").body == {"written": True, **told}
    day = WeatherDay.objects.get()
    assert (day.minimum_c, day.water_c, day.maximum_c) == (12.5, 21.0, None)
