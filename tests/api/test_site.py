"""Sites: exact bodies for the owner, nothing for anybody else."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from growers.models import Change, Grower, Site
from tests.api.caller import Caller
from tests.factories import make_site

pytestmark = pytest.mark.django_db

NEW: dict[str, Any] = {"name": "pond", "country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}


def test_a_site_is_made_and_only_its_cell_kept(donor_api: Caller) -> None:
    made = donor_api.post("sites", {**NEW, "water_depth_cm": 60})
    site = Site.objects.get()
    assert made.status == 201
    assert made.body == {
        "id": str(site.public_id),
        "name": "pond",
        "country": "FR",
        "subdivision": "",
        "nearest_town": "",
        "latitude_deg": None,
        "longitude_deg": None,
        "zone": "Europe/Paris",
        "water": "outdoor",
        "water_depth_cm": 60,
        "region": {
            "level": "climate_band",
            "part_of_the_world": "Europe",
            "country": None,
            "subdivision": None,
            "climate_band": "northern temperate",
            "cell_latitude_deg": None,
            "cell_longitude_deg": None,
        },
    }
    read = donor_api.get(made["Location"])
    assert (read.status, read.body, read["ETag"]) == (200, made.body, made["ETag"])
    assert Change.objects.filter(kind="site", subject_id=site.pk).exists()


def test_a_site_is_changed_by_whoever_read_it_last(donor_api: Caller) -> None:
    made = donor_api.post("sites", NEW)
    path, tag = made["Location"], made["ETag"]
    first = donor_api.call("PATCH", path, {"water_depth_cm": 80}, if_match=tag)
    assert (first.status, first.body) == (200, {**made.body, "water_depth_cm": 80})
    late = donor_api.call("PATCH", path, {"water_depth_cm": 90}, if_match=tag)
    assert (late.status, late.code) == (412, "stale")
    weak = donor_api.call("PATCH", path, {"water_depth_cm": 90}, if_match=f"W/{first['ETag']}")
    assert weak.code == "stale"
    assert donor_api.get(path).body["water_depth_cm"] == 80
    several = f'"old", {first["ETag"]}'
    assert donor_api.call("PATCH", path, {"water_depth_cm": 90}, if_match=several).status == 200
    assert donor_api.call("PATCH", path, {"water_depth_cm": 90}).code == "if_match_missing"
    assert donor_api.get(path).body["water_depth_cm"] == 90


def test_the_exact_place_is_kept_on_request_and_forgotten_on_request(donor_api: Caller) -> None:
    path = donor_api.post("sites", {**NEW, "keep_exact": True})["Location"]
    assert donor_api.get(path).body["latitude_deg"] == 48.85
    assert donor_api.patch(path, {"keep_exact": False}).body["latitude_deg"] is None


@pytest.mark.parametrize(
    ("changed", "status", "faults"),
    [
        ({"latitude_deg": 90.5}, 400, {"/latitude_deg": "max_value"}),
        ({"latitude_deg": True}, 400, {"/latitude_deg": "invalid"}),
        ({"latitude_deg": "48"}, 400, {"/latitude_deg": "invalid"}),
        ({"water": "sea"}, 400, {"/water": "invalid_choice"}),
        ({"grower": 1, "cell_zone": "UTC"}, 400, {"/cell_zone": "unknown_field", "/grower": "unknown_field"}),
        ({"country": "XX"}, 422, {"/country": "not_allowed"}),
        ({"name": "a\u0000b"}, 400, {"/name": "nul"}),
        ({"name": "a\ud800b"}, 400, {"/name": "surrogate_characters_not_allowed"}),
        ({"name": "a\u0007b"}, 422, {"/name": "not_allowed"}),
        ({"subdivision": "DE-BY"}, 422, {"/subdivision": "not_allowed"}),
    ],
)
def test_a_wrong_site_is_refused_with_its_place(
    donor_api: Caller, changed: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post("sites", {**NEW, **changed})
    assert (refused.status, refused.faults) == (status, faults)
    assert Site.objects.count() == 0


def queries(api: Caller, path: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert api.get(path).status == 200
    return len(captured)


def test_a_list_costs_two_queries_however_long(donor: Grower, donor_api: Caller) -> None:
    donor_api.get("me")
    make_site(donor, name="one")
    assert queries(donor_api, "sites") == 2
    for number in range(9):
        make_site(donor, name=f"pond {number}")
    assert queries(donor_api, "sites") == 2
    assert queries(donor_api, f"sites/{Site.objects.latest('pk').public_id}") == 2
