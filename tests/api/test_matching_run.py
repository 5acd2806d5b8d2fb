"""Matching runs: for coordinators; to all others there are none."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import DueTask, MatchingOrder, MatchingRun
from exchange.services import rescoring
from exchange.services.coordinator import coordinator_grant, coordinator_revoke
from exchange.services.lease import leased
from exchange.services.matching_order import LATER
from exchange.tasks.due import due_sweep
from growers.models import Grower
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, SECRET_NAME, Society, make_pairing, make_run, make_society
from tests.factories import make_grower

pytestmark = pytest.mark.django_db


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@pytest.fixture
def coordinator_api(db: None) -> Caller:
    grower = make_grower("weir")
    coordinator_grant(handle="weir")
    return caller(grower)


def make_order() -> MatchingOrder:
    """A coordinator's order, if there is none yet."""
    other, _ = Grower.objects.get_or_create(handle="other", handle_skeleton="other")
    order, _ = MatchingOrder.objects.get_or_create(ordered_by=other, rule="most capsules")
    return order


def addresses(society: Society, run: MatchingRun) -> list[tuple[str, str, Any]]:
    return [
        ("GET", "matching-runs", None),
        ("POST", "matching-runs", {}),
        ("POST", "matching-runs/dry-run", {"rule": "most capsules"}),
        ("GET", f"matching-runs/{run.public_id}", None),
        ("GET", f"matching-orders/{make_order().public_id}", None),
        ("GET", f"wanted-crosses/{society.wanted.public_id}/explanation", None),
    ]


def test_to_all_others_there_are_none(
    society: Society, donor_api: Caller, recipient_api: Caller, nobody: Caller
) -> None:
    for method, address, body in addresses(society, make_run()):
        for api in (donor_api, recipient_api):
            before = rows()
            refused = api.call(method, address, body)
            assert (refused.status, refused.code) == (404, "not_found"), address
            for table in ("exchange_matchingrun", "exchange_matchingorder", "exchange_duetask"):
                assert rows()[table] == before[table]
        assert nobody.call(method, address, body).status == 401
    # Not even that a body was wrong.
    assert donor_api.call("POST", "matching-runs", {"rule": "?"}).status == 404


def test_the_role_goes_at_once(society: Society, coordinator_api: Caller) -> None:
    assert coordinator_api.get("matching-runs").status == 200
    coordinator_revoke(handle="weir")
    assert coordinator_api.get("matching-runs").status == 404


def test_a_run_is_tried_made_and_read(society: Society, coordinator_api: Caller) -> None:
    before = rows()
    tried = coordinator_api.call("POST", "matching-runs/dry-run", {"rule": "most capsules"})
    assert tried.status == 200
    changed = {name for name, table in rows().items() if table != before[name]}
    assert changed <= {"exchange_apitoken"}  # when the token was last used
    (new,) = tried.body["new"]
    assert (tried.body["rule"], tried.body["new_count"], tried.body["changed"]) == ("most capsules", 1, [])
    assert new == {
        "offer_id": str(society.offer.public_id),
        "donor": "donor",
        "pollen_parent": "'Ferry'",
        "wanted_cross_id": str(society.wanted.public_id),
        "recipient": "recipient",
        "seed_parent": SECRET_NAME,
        "chance": new["chance"],
        "allocated_doses": 4,
    }
    order = coordinator_api.call("POST", "matching-runs", {"rule": "most capsules"})
    due_sweep()
    made = coordinator_api.get(order["Location"]).body["run"]
    run = MatchingRun.objects.get()
    assert made == {
        "id": str(run.public_id),
        "today": "2027-07-01",
        "started_at": made["started_at"],
        "finished_at": made["finished_at"],
        "model_version": run.model_version,
        "rule": "most capsules",
        "considered": 1,
        "proposed": 1,
        "written": 1,
        "superseded": 0,
    }
    read = coordinator_api.get(f"matching-runs/{run.public_id}").body
    assert read == {**made, "report": tried.body["report"]}
    assert {row["heading"] for row in read["report"]["rows"]} == {"region", "season", "cross"}
    assert read["report"]["price"]["growers_served"] == 1
    assert coordinator_api.get("matching-runs").body["results"] == [made]
    again = coordinator_api.call("POST", "matching-runs/dry-run", {})
    assert (again.body["rule"], again.body["new_count"]) == ("most capsules", 0)


def test_a_loser_is_named_by_handle_and_no_key_leaves_the_server(
    society: Society, coordinator_api: Caller
) -> None:
    loss = {
        "grower": str(society.seed.grower.public_id),
        "doses": 1,
        "doses_by_other_rule": 3,
        "expected_capsules": 0.1,
        "capsules_by_other_rule": 0.28,
        "served": True,
    }
    run = make_run(report={"rule": "most capsules", "rows": [], "losers": [loss], "price": None})
    report = coordinator_api.get(f"matching-runs/{run.public_id}").body["report"]
    assert report == {"rows": [], "losers": [{**loss, "grower": "recipient"}], "price": None}
    untold = make_run(report={})
    assert coordinator_api.get(f"matching-runs/{untold.public_id}").body["report"] == {
        "rows": [],
        "losers": [],
        "price": None,
    }


def test_an_order_is_answered_at_once_and_says_how_it_stands(
    society: Society, coordinator_api: Caller, clock: MovableClock
) -> None:
    answer = coordinator_api.call("POST", "matching-runs", {"rule": "most capsules"})
    order = MatchingOrder.objects.get()
    assert (answer.status, answer["Location"]) == (202, f"/api/v1/matching-orders/{order.public_id}")
    assert answer.body == {
        "id": str(order.public_id),
        "state": "waiting",
        "rule": "most capsules",
        "ordered_by": "weir",
        "ordered_at": answer.body["ordered_at"],
        "started_at": None,
        "finished_at": None,
        "run": None,
    }
    assert coordinator_api.get(answer["Location"]).body == answer.body
    assert coordinator_api.call("POST", "matching-runs", {"rule": "most capsules"}).body == answer.body
    with leased("matching", NOON):
        due_sweep()
    assert DueTask.objects.get(kind="matching_order").due_at > NOON + LATER
    assert coordinator_api.get(answer["Location"]).body == answer.body
    clock.set(NOON + timedelta(minutes=1))
    due_sweep()
    done = coordinator_api.get(answer["Location"]).body
    assert {name: done[name] for name in ("id", "state", "ordered_by")} == {
        "id": str(order.public_id),
        "state": "done",
        "ordered_by": "weir",
    }
    assert done["run"] == coordinator_api.get("matching-runs").body["results"][0]
    assert coordinator_api.call("POST", "matching-runs", {"rule": "mine"}).faults == {
        "/rule": "invalid_choice"
    }


def test_a_dry_run_that_takes_too_long_is_a_conflict(
    society: Society, coordinator_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rescoring, "PREVIEW_LASTS_SECONDS", -1)
    refused = coordinator_api.call("POST", "matching-runs/dry-run", {})
    assert (refused.status, refused.code) == (409, "conflict")


def test_a_wanted_cross_is_explained_without_a_place(society: Society, coordinator_api: Caller) -> None:
    path = f"wanted-crosses/{society.wanted.public_id}/explanation"
    assert coordinator_api.get(path).code == "conflict"
    run = make_run()
    make_pairing(society.offer, society.wanted, allocated_doses=4)
    offer = str(society.offer.public_id)
    answer = coordinator_api.get(path)
    body = answer.body
    figures = ("expected_capsules", "capsules_by_other_rule", "without_it", "one_more", "given")
    assert {name: body[name] for name in body if name not in figures} == {
        "wanted_cross_id": str(society.wanted.public_id),
        "recipient": "recipient",
        "seed_parent": SECRET_NAME,
        "run_id": str(run.public_id),
        "rule": "one for each grower first",
        "reason": {
            "code": "allocation_best",
            "detail": "The best that was on offer for it.",
            "parameters": {"doses": 4, "flowers": 4, "offers": 1},
        },
        "better_elsewhere": [],
    }
    capsules = pytest.approx(0.12 + 0.11 + 0.09 + 0.05)
    assert body["given"] == [{"offer_id": offer, "doses": 4, "expected_capsules": capsules}]
    assert body["expected_capsules"] == body["capsules_by_other_rule"] == capsules
    (without,) = body["without_it"]
    assert (without["instead"], without["growers_served_change"]) == ([], -1)
    assert [more["goes_to"] for more in body["one_more"]] == [[]]
    for place in ("48.", "11.75", "Paris", "@example.org"):
        assert place not in answer.response.content.decode()


def test_a_list_costs_the_same_however_long(coordinator_api: Caller) -> None:
    coordinator_api.get("me")
    counts = []
    for expected in (10, 200):
        while MatchingRun.objects.count() < expected:
            make_run()
        with CaptureQueriesContext(connection) as captured:
            assert len(coordinator_api.get("matching-runs?limit=100").body["results"]) == min(expected, 100)
        counts.append(len(captured))
    assert counts == [3, 3]  # the token with its grower, the role, the runs
