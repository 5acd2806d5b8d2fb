"""Bloom and weather: exact bodies, corrections, faults with their place."""

from datetime import UTC, datetime
from typing import Any

import pytest

from growers.models import BloomSighting, Change, Grower, Plant, WeatherDay
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.factories import make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(donor: Grower, clock: MovableClock) -> Plant:
    """A plant on the first of July."""
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))
    return make_plant(donor)


def test_a_season_is_recorded_and_corrected(plant: Plant, donor_api: Caller, outsider_api: Caller) -> None:
    root = f"plants/{plant.public_id}/bloom-seasons"
    made = donor_api.post(root, {"first_flower_on": "2026-06-08"})
    season = plant.bloom_seasons.get()
    assert (made.status, made["Location"]) == (201, f"/api/v1/bloom-seasons/{season.public_id}")
    assert made.body == {
        "id": str(season.public_id),
        "plant_id": str(plant.public_id),
        "first_flower_on": "2026-06-08",
        "first_precision": "day",
        "last_flower_on": None,
        "last_precision": "day",
    }
    changed = donor_api.patch(made["Location"], {"last_flower_on": "2026-09-12", "last_precision": "week"})
    assert changed.body == {**made.body, "last_flower_on": "2026-09-12", "last_precision": "week"}
    assert donor_api.get(root).body["results"] == [changed.body]
    for refused in (
        outsider_api.get(made["Location"]),
        outsider_api.call("PATCH", made["Location"], {"last_flower_on": None}, if_match="*"),
    ):
        assert (refused.status, refused.code) == (404, "not_found")


def test_seasons_that_cannot_be_are_refused(plant: Plant, donor_api: Caller) -> None:
    root = f"plants/{plant.public_id}/bloom-seasons"
    donor_api.post(root, {"first_flower_on": "2026-06-08", "last_flower_on": "2026-09-12"})
    cases: list[tuple[dict[str, Any], int, dict[str, str]]] = [
        ({"first_flower_on": "2026-07-01"}, 422, {"/first_flower_on": "seasons_overlap"}),
        ({"first_flower_on": "2027-07-02"}, 422, {"/first_flower_on": "day_not_possible"}),
        (
            {"first_flower_on": "2025-06-08", "last_flower_on": "2025-06-01"},
            422,
            {"/last_flower_on": "season_reversed"},
        ),
        ({"first_flower_on": "2025-02-29"}, 400, {"/first_flower_on": "invalid"}),
        ({"first_flower_on": "20250608"}, 400, {"/first_flower_on": "invalid"}),
        ({"first_flower_on": 20250608}, 400, {"/first_flower_on": "invalid"}),
    ]
    for body, status, faults in cases:
        refused = donor_api.post(root, body)
        assert (refused.status, refused.faults) == (status, faults)
    assert plant.bloom_seasons.count() == 1


def test_the_usual_window_is_said_anew(plant: Plant, donor_api: Caller) -> None:
    root = f"plants/{plant.public_id}/usual-bloom"
    assert donor_api.get(root).code == "not_found"
    said = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}
    answer = donor_api.call("POST", root, said)
    assert (answer.status, answer.body) == (
        200,
        {"all_year": False, "weak_months": [], **said, "precision": "month_third"},
    )
    again = donor_api.call("POST", root, {"all_year": True, "weak_months": [12, 1]})
    assert again.body == {
        "all_year": True,
        "weak_months": [1, 12],
        "first_month": None,
        "first_day": None,
        "last_month": None,
        "last_day": None,
        "precision": "month_third",
    }
    assert donor_api.get(root).body == again.body
    refused = donor_api.call(
        "POST", root, {"first_month": 2, "first_day": 30, "last_month": 3, "last_day": 1}
    )
    assert (refused.status, refused.faults) == (422, {"/first_day": "not_a_day"})


@pytest.mark.parametrize(
    ("told", "stored"),
    [
        ({"kind": "not_yet"}, ("", None)),
        ({"kind": "bud", "bud_stage": "at the surface"}, ("at the surface", None)),
        ({"kind": "first_day_flowers", "flower_count": 0}, ("", 0)),
        ({"kind": "season_over"}, ("", None)),
    ],
)
def test_what_was_seen_is_told(plant: Plant, donor_api: Caller, told: dict[str, Any], stored: Any) -> None:
    root = f"plants/{plant.public_id}/bloom-sightings"
    made = donor_api.post(root, {"seen_on": "2027-06-20", **told})
    sighting = BloomSighting.objects.get()
    assert made.status == 201
    assert made.body == {
        "id": str(sighting.public_id),
        "plant_id": str(plant.public_id),
        "seen_on": "2027-06-20",
        "kind": told["kind"],
        "bud_stage": stored[0],
        "flower_count": stored[1],
    }
    assert donor_api.get(f"{root}?kind={told['kind']}").body["results"] == [made.body]
    assert Change.objects.filter(kind="bloom", subject_id=plant.pk).exists()


def test_a_day_told_again_is_corrected(plant: Plant, donor_api: Caller) -> None:
    root = f"plants/{plant.public_id}/bloom-sightings"
    first = donor_api.post(root, {"seen_on": "2027-06-20", "kind": "first_day_flowers", "flower_count": 2})
    again = donor_api.post(root, {"seen_on": "2027-06-20", "kind": "first_day_flowers", "flower_count": 3})
    assert again.body == {**first.body, "flower_count": 3}
    assert BloomSighting.objects.count() == 1


@pytest.mark.parametrize(
    ("told", "status", "faults"),
    [
        ({"kind": "bud"}, 422, {"/bud_stage": "missing"}),
        ({"kind": "not_yet", "flower_count": 1}, 422, {"/flower_count": "not_with_kind"}),
        ({"kind": "bud", "bud_stage": "open"}, 400, {"/bud_stage": "invalid_choice"}),
        ({"kind": "first_day_flowers", "flower_count": 1001}, 400, {"/flower_count": "max_value"}),
        ({"kind": "season_over", "seen_on": "2027-07-02"}, 422, {"/seen_on": "day_not_possible"}),
    ],
)
def test_a_wrong_sighting_is_refused(
    plant: Plant, donor_api: Caller, told: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post(f"plants/{plant.public_id}/bloom-sightings", {"seen_on": "2027-06-20", **told})
    assert (refused.status, refused.faults) == (status, faults)
    assert BloomSighting.objects.count() == 0


def test_weather_is_stated_and_corrected(plant: Plant, donor_api: Caller) -> None:
    root = f"sites/{plant.site.public_id}/weather-days"
    made = donor_api.post(root, {"measured_on": "2027-06-20", "minimum_c": 12, "maximum_c": 27.5})
    day = WeatherDay.objects.get()
    assert (made.status, made.body) == (
        201,
        {
            "id": str(day.public_id),
            "site_id": str(plant.site.public_id),
            "measured_on": "2027-06-20",
            "minimum_c": 12.0,
            "maximum_c": 27.5,
            "mean_c": None,
            "water_c": None,
        },
    )
    donor_api.post(root, {"measured_on": "2027-06-20", "water_c": 21})
    assert [each["water_c"] for each in donor_api.get(root).body["results"]] == [21.0]
    refused = donor_api.post(root, {"measured_on": "2027-06-21", "minimum_c": 20, "maximum_c": 10})
    assert (refused.status, refused.faults) == (422, {"/maximum_c": "not_in_order"})
