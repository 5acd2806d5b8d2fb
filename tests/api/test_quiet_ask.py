"""Quiet asks through the API: the owner reads and answers, whoever asks reads no byte of it."""

import logging
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Offer, QuietAsk
from exchange.services.quiet_ask import quiet_asks_make
from growers.models import Grower
from tests.api.caller import Caller
from tests.api.quiet_world import Constant, Course, Society, make_quiet_society
from tests.clock import MovableClock
from tests.exchange.quiet import make_owner, make_unoffered, make_wish
from tests.exchange.society import NOON, make_groups

pytestmark = pytest.mark.django_db

KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"
YES: dict[str, Any] = {"answer": "yes", "treatment": "dried", "doses": 3}


@pytest.fixture
def ask(donor: Grower, recipient: Grower, clock: MovableClock) -> QuietAsk:
    clock.set(NOON)
    make_groups()
    make_unoffered(make_owner(donor), name_as_grown="'Ferry'")
    make_wish(recipient)
    quiet_asks_make(now=NOON)
    return QuietAsk.objects.get()


def test_only_the_owner_reads_it(
    ask: QuietAsk, donor_api: Caller, recipient_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    assert donor_api.get("quiet-asks").body["results"] == [
        {
            "id": str(ask.public_id),
            "plant_id": str(ask.plant.public_id),
            "plant_name": "'Ferry'",
            "region": {
                "level": "climate_band",
                "part_of_the_world": "Europe",
                "country": None,
                "subdivision": None,
                "climate_band": "northern temperate",
                "cell_latitude_deg": None,
                "cell_longitude_deg": None,
            },
            "asked_on": "2027-07-01",
            "answer_by": "2027-07-31",
            "detail": (
                "Someone in this region: Europe, northern temperate, would like pollen of your 'Ferry'. They"
                " do not know of it unless you say yes."
            ),
            "answer": None,
        }
    ]
    for other in (recipient_api, outsider_api):
        assert other.get("quiet-asks").body["results"] == []
        assert other.post(f"quiet-asks/{ask.public_id}/answer", YES).status == 404
    assert nobody.get("quiet-asks").status == 401
    assert QuietAsk.objects.get().answer == ""


def test_a_yes_makes_one_offer_however_often_it_is_sent(ask: QuietAsk, donor_api: Caller) -> None:
    path = f"quiet-asks/{ask.public_id}/answer"
    first = donor_api.post(path, YES, idempotency_key=KEY)
    again = donor_api.post(path, YES, idempotency_key=KEY)
    assert (first.status, first.body["answer"]) == (200, "yes")
    assert (again.status, again.body) == (200, first.body)
    assert donor_api.post(path, {"answer": "never"}, idempotency_key=KEY).code == "key_reused"
    assert donor_api.post(path, YES).status == 409
    (offer,) = donor_api.get("offers").body["results"]
    assert (offer["plant_id"], offer["kind"], offer["doses"]) == (first.body["plant_id"], "on_request", 3)
    assert donor_api.get("quiet-asks").body["results"] == []


@pytest.mark.parametrize(
    ("body", "status", "faults"),
    [
        ({}, 400, {"/answer": "required"}),
        ({"answer": "perhaps"}, 400, {"/answer": "invalid_choice"}),
        ({"answer": "yes"}, 422, {"/treatment": "missing", "/doses": "missing"}),
        ({"answer": "yes", "treatment": "frozen", "doses": 1}, 422, {"/treatment": "not_allowed"}),
        ({"answer": "never", "doses": 1}, 422, {"/doses": "not_with_no"}),
        ({"answer": "never", "reason": "shy"}, 400, {"/reason": "unknown_field"}),
    ],
)
def test_what_is_refused(
    ask: QuietAsk, donor_api: Caller, body: Any, status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post(f"quiet-asks/{ask.public_id}/answer", body)
    assert (refused.status, refused.faults) == (status, faults)
    assert (QuietAsk.objects.get().answer, Offer.objects.count()) == ("", 0)


def test_a_list_costs_the_same_however_long(donor: Grower, ask: QuietAsk, donor_api: Caller) -> None:
    donor_api.get("quiet-asks")
    counts = []
    for asks in (1, 3):
        while QuietAsk.objects.count() < asks:
            plant = make_unoffered(donor)
            QuietAsk.objects.create(plant=plant, wanted_cross=ask.wanted_cross, created_at=NOON)
        with CaptureQueriesContext(connection) as captured:
            assert len(donor_api.get("quiet-asks").body["results"]) == asks
        counts.append(len(captured))
    assert counts[0] == counts[1]


# --- byte for byte the same ---


@pytest.fixture
def society(db: None, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> Society:
    caplog.set_level(logging.WARNING, logger="exchange.request")
    constant = Constant()
    constant.install(monkeypatch)
    return make_quiet_society(constant)


def test_whoever_asks_reads_the_same_whether_nobody_has_it_or_somebody_is_silent_or_says_no(
    society: Society,
) -> None:
    nobody_has_it = society.seen(Course(group="lotos"))
    assert (nobody_has_it.questions, len(nobody_has_it.rows["runs"])) == (0, 3)
    read = {path for path, answer in nobody_has_it.answers.items() if answer.startswith(b"200")}
    assert {
        "/api/v1/pairings",
        "/api/v1/public/market",
        "/api/v1/matching-runs",
        "matching-runs/dry-run",
        "try-out",
    } <= read
    assert any(path.endswith("/explanation") for path in read)
    courses = {
        Course(may_be_asked=False): 0,
        Course(): 1,
        Course(answer="not_this_year"): 1,
        Course(answer="never"): 1,
    }
    for course, questions in courses.items():
        seen = society.seen(course)
        assert seen.questions == questions, course
        assert seen.answers == nobody_has_it.answers, course
        assert seen.rows == nobody_has_it.rows, course


def test_a_yes_would_be_seen(society: Society) -> None:
    silent, yes = society.seen(Course()), society.seen(Course(answer="yes"))
    differing = {path for path in silent.answers if silent.answers[path] != yes.answers.get(path)}
    assert "/api/v1/pairings" in differing
    assert silent.rows["news"] != yes.rows["news"]
