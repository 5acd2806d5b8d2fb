"""What anybody sees without an account: counts, and a try-out that leaves no trace."""

import uuid
from typing import Any

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Offer
from growers.models import Grower, Site
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, make_groups
from tests.factories import make_grower, make_offer, make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db

SUMMER = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}
ASKED: dict[str, Any] = {
    "donor": {"group": "hardy", "country": "FR", "zone": "Europe/Paris", "usual_bloom": SUMMER},
    "recipient": {
        "group": "hardy",
        "country": "DE",
        "latitude_deg": 48.1,
        "longitude_deg": 11.6,
        "usual_bloom": SUMMER,
    },
    "flowers": 4,
}


# --- the market ---


def test_everybody_reads_counts_by_group_and_region(donor: Grower, nobody: Caller) -> None:
    growers = [donor, *(make_grower(f"grower-{number}") for number in range(4))]
    for grower in growers:
        make_offer(make_plant(grower))
        make_wanted_cross(make_plant(grower), pollen_groups=["lotos"])
    make_wanted_cross(make_plant(donor), pollen_groups=["nelumbo"])
    Site.objects.update(region_level="country")
    answer = nobody.get("public/market")
    region = {
        "subdivision": None,
        "climate_band": None,
        "cell_latitude_deg": None,
        "cell_longitude_deg": None,
    }
    assert answer.body == {
        "offered": [
            {
                "group": "hardy",
                "region": {"level": "country", "part_of_the_world": "Europe", "country": "FR", **region},
                "count": 5,
            }
        ],
        "wanted": [
            {
                "group": "lotos",
                "region": {"level": "country", "part_of_the_world": "Europe", "country": "FR", **region},
                "count": 5,
            }
        ],
    }
    assert nobody.get("public/market", if_none_match=answer["ETag"]).status == 304
    assert nobody.get("public/market?group=hardy").faults == {"group": "unknown_field"}


def test_the_market_costs_the_same_however_much_is_open(donor: Grower, nobody: Caller) -> None:
    plant = make_plant(donor)
    counts = []
    for expected in (10, 200):
        while Offer.objects.count() < expected:
            make_offer(plant)
            make_wanted_cross(plant, pollen_plants=[plant])
        with CaptureQueriesContext(connection) as captured:
            assert nobody.get("public/market").body["offered"][0]["count"] == expected
        counts.append(len(captured))
    assert counts == [4, 4]  # offers, wanted crosses, the plants and the taxa asked for


# --- the try-out ---


@pytest.fixture
def summer(db: None, clock: MovableClock) -> None:
    clock.set(NOON.replace(month=5))
    make_groups()


def test_a_guest_plans_a_season_and_leaves_no_trace(summer: None, nobody: Caller) -> None:
    before = rows()
    answer = nobody.call("POST", "try-out", ASKED)
    assert rows() == before
    body = answer.body
    assert answer.status == 200
    assert body.keys() == {
        "today",
        "chance",
        "flowers",
        "several",
        "in_words",
        "donor_bloom",
        "recipient_bloom",
        "likeliest_posting_week",
        "good_posting_weeks",
        "reasons",
        "cautions",
        "papers",
        "timeline",
    }
    assert body["today"] == "2027-05-01"
    assert 0.0 < body["chance"]["low"] < body["chance"]["estimate"] < body["chance"]["high"] < 1.0
    assert body["flowers"] == 4
    assert body["donor_bloom"]["first"] < body["likeliest_posting_week"] <= body["donor_bloom"]["last"]
    assert body["cautions"][0]["code"] == "viability_prior_only"
    assert len(body["timeline"]["posting_open"]) == len(body["timeline"]["pollen_chance"])
    assert nobody.call("POST", "try-out", ASKED)["ETag"] == answer["ETag"]


@pytest.mark.parametrize(
    ("changes", "status", "faults"),
    [
        ({"flowers": 13}, 400, {"/flowers": "max_value"}),
        ({"treatment": "frozen"}, 400, {"/treatment": "invalid_choice"}),
        ({"donor": {}}, 400, {"/donor/group": "required", "/donor/country": "required"}),
        ({"donor": {**ASKED["donor"], "email": "x"}}, 400, {"/donor/email": "unknown_field"}),
        ({"donor": {**ASKED["donor"], "zone": "Europe/Rome"}}, 422, {"/donor/zone": "not_allowed"}),
        (
            {"recipient": {**ASKED["recipient"], "usual_bloom": {**SUMMER, "first_month": None}}},
            422,
            {"/recipient/usual_bloom/first_month": "not_a_month"},
        ),
    ],
)
def test_a_wrong_question_is_told_by_its_field(
    summer: None, nobody: Caller, changes: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    refused = nobody.call("POST", "try-out", {**ASKED, **changes})
    assert refused.status == status
    assert faults.items() <= refused.faults.items()


def test_without_reference_tables_it_is_a_conflict(nobody: Caller) -> None:
    refused = nobody.call("POST", "try-out", ASKED)
    assert (refused.status, refused.code) == (409, "conflict")


def test_a_few_a_minute_are_enough(nobody: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    cache.clear()
    monkeypatch.setattr(settings, "TRY_OUTS_PER_MINUTE", 2)
    # Of one network, and apart from those of other tests.
    nobody.client.defaults["REMOTE_ADDR"] = f"2001:db8::{uuid.uuid4().hex[:4]}"
    answers = [nobody.call("POST", "try-out", ASKED) for _ in range(6)]
    # The window may turn between two requests; not twice.
    codes = [answer.code for answer in answers]
    assert codes.count("too_many_requests") >= 1
    refused = answers[codes.index("too_many_requests")]
    assert refused.status == 429
    assert 1 <= int(refused["Retry-After"]) <= 60
