"""What holds for every operation: keys, tags, pages, strictness, problems, request ids."""

import json
import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import OperationalError, connections
from django.utils.translation import trans_real

from exchange.api.catalogue import KINDS, kind_of
from exchange.api.errors import as_problem, faults_of
from exchange.api.throttle import count
from exchange.models import IdempotentAnswer
from exchange.services.cipher import decrypted
from growers import clock
from growers.errors import Conflict, InvalidInput
from growers.models import Grower, Site
from growers.services.site import site_create
from tests.api.caller import Caller, caller
from tests.factories import make_grower, make_plant, make_site

pytestmark = pytest.mark.django_db

NEW: dict[str, Any] = {"name": "pond", "country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"


# --- keys ---


def test_the_same_request_again_gets_the_same_answer(donor_api: Caller) -> None:
    first = donor_api.post("sites", NEW, idempotency_key=KEY)
    again = donor_api.post("sites", dict(reversed(NEW.items())), idempotency_key=f'"{KEY}"')
    assert first.status == again.status == 201
    assert first.response.content == again.response.content
    assert {name: first[name] for name in ("ETag", "Location", "Content-Type")} == {
        name: again[name] for name in ("ETag", "Location", "Content-Type")
    }
    assert again["Idempotency-Replayed"] == "true" and "Idempotency-Replayed" not in first.response
    assert Site.objects.count() == 1
    stored = IdempotentAnswer.objects.get()
    assert b"pond" not in bytes(stored.answer) and "pond" not in stored.fingerprint
    assert b"pond" not in decrypted(bytes(stored.answer))  # base64 inside
    assert json.loads(decrypted(bytes(stored.answer)))["status"] == 201


def test_a_key_is_one_growers_and_one_operations(donor_api: Caller, recipient_api: Caller) -> None:
    assert donor_api.post("sites", NEW, idempotency_key=KEY).status == 201
    assert recipient_api.post("sites", NEW, idempotency_key=KEY).status == 201
    site = donor_api.get("sites").body["results"][0]["id"]
    assert (
        donor_api.post(
            "plants", {"site_id": site, "group": "hardy", "diel": "day"}, idempotency_key=KEY
        ).status
        == 201
    )
    assert Site.objects.count() == 2


def test_keys_are_asked_for_and_read_strictly(donor_api: Caller) -> None:
    missing = donor_api.call("POST", "sites", NEW)
    assert (missing.status, missing.code) == (400, "idempotency_key_missing")
    odd = donor_api.post("sites", NEW, idempotency_key="no spaces please")
    assert (odd.status, odd.faults) == (400, {"Idempotency-Key": "invalid"})
    assert donor_api.post("sites", NEW, idempotency_key=KEY).status == 201
    other = donor_api.post("sites", {**NEW, "name": "x"}, idempotency_key=KEY)
    assert (other.status, other.code) == (422, "key_reused")


def test_a_refused_request_leaves_its_key_free(donor_api: Caller) -> None:
    assert donor_api.post("sites", {**NEW, "country": "XX"}, idempotency_key=KEY).status == 422
    assert IdempotentAnswer.objects.count() == 0
    assert donor_api.post("sites", NEW, idempotency_key=KEY).status == 201


def test_a_running_request_is_not_started_twice_and_a_dead_one_is(donor_api: Caller) -> None:
    donor_api.post("sites", NEW, idempotency_key=KEY)
    Site.objects.all().delete()
    stored = IdempotentAnswer.objects.filter(key=KEY)
    stored.update(state="running", claimed_until=clock.true_now() + timedelta(minutes=1))
    running = donor_api.post("sites", NEW, idempotency_key=KEY)
    assert (running.status, running.code) == (409, "request_running")
    stored.update(claimed_until=clock.true_now())
    assert donor_api.post("sites", NEW, idempotency_key=KEY).status == 201
    assert Site.objects.count() == 1


def test_an_attempt_that_was_taken_over_undoes_its_work(
    donor_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(**fields: Any) -> Site:
        IdempotentAnswer.objects.update(claim=uuid.uuid4())
        return site_create(**fields)

    monkeypatch.setattr("exchange.api.v1.site.site_create", slow)
    beaten = donor_api.post("sites", NEW, idempotency_key=KEY)
    assert (beaten.status, beaten.code) == (409, "request_running")
    assert Site.objects.count() == 0


def test_after_a_day_a_key_is_new(donor_api: Caller) -> None:
    donor_api.post("sites", NEW, idempotency_key=KEY)
    IdempotentAnswer.objects.update(expires_at=clock.true_now())
    refused = donor_api.post("sites", NEW, idempotency_key=KEY)
    assert (refused.status, refused.faults) == (422, {"/name": "taken"})
    assert IdempotentAnswer.objects.count() == 0


@pytest.mark.django_db(transaction=True)
def test_of_many_at_once_one_is_done() -> None:
    token = caller(make_grower("donor")).token

    def post(_: int) -> int:
        try:
            return Caller(token).post("sites", NEW, idempotency_key=KEY).status
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        statuses = list(pool.map(post, range(8)))
    assert Site.objects.count() == 1
    assert set(statuses) <= {201, 409} and 201 in statuses


# --- pages ---


def test_pages_hold_every_row_once(donor: Grower, donor_api: Caller) -> None:
    names = [make_site(donor, name=f"pond {number}").name for number in range(7)]
    seen: list[str] = []
    path = "/api/v1/sites?limit=3"
    pages = 0
    while path:
        page = donor_api.get(path)
        seen += [each["name"] for each in page.body["results"]]
        link = page.body["next"]
        assert (f'<{link}>; rel="next"' in page.response.get("Link", "")) == bool(link)
        path = link.removeprefix("http://testserver") if link else ""
        pages += 1
    assert (pages, seen) == (3, names[::-1])
    assert page.body["previous"] is not None


def test_a_row_that_comes_in_between_moves_no_page(donor: Grower, donor_api: Caller) -> None:
    for number in range(4):
        make_site(donor, name=f"pond {number}")
    page = donor_api.get("sites?limit=2")
    first = page.body
    assert donor_api.get("sites?limit=2", if_none_match=page["ETag"]).status == 304
    make_site(donor, name="newcomer")
    second = donor_api.get(first["next"].removeprefix("http://testserver")).body
    assert [each["name"] for each in second["results"]] == ["pond 1", "pond 0"]


def test_a_cursor_is_of_use_in_its_own_list_only(donor: Grower, donor_api: Caller) -> None:
    for number in range(2):
        make_site(donor, name=f"pond {number}")
    link = donor_api.get("sites?limit=1").body["next"]
    cursor = parse_qs(urlsplit(link).query)["cursor"][0]
    for path in (
        f"tokens?cursor={cursor}",
        f"sites?cursor={cursor}x",
        "sites?cursor=%C3%BF",
        "sites?cursor=",
    ):
        refused = donor_api.get(path)
        assert (refused.status, refused.code) == (422, "cursor_unknown"), path


@pytest.mark.parametrize(
    ("query", "faults"),
    [
        ("limit=0", {"limit": "invalid"}),
        ("limit=101", {"limit": "invalid"}),
        ("limit=1e1", {"limit": "invalid"}),
        ("limit=99999999999999999999", {"limit": "invalid"}),
        ("limit=²", {"limit": "invalid"}),
        ("limit=5&limit=6", {"limit": "repeated"}),
        ("ordering=name", {"ordering": "unknown_field"}),
    ],
)
def test_parameters_are_read_strictly(donor_api: Caller, query: str, faults: dict[str, str]) -> None:
    refused = donor_api.get(f"sites?{query}")
    assert (refused.status, refused.code, refused.faults) == (400, "does_not_fit", faults)


# --- tags ---


def test_what_has_not_changed_is_not_sent_again(donor_api: Caller) -> None:
    read = donor_api.get("sites")
    again = donor_api.get("sites", if_none_match=read["ETag"])
    assert (again.status, again.response.content) == (304, b"")
    assert donor_api.get("sites", accept="application/json; indent=4")["ETag"] == read["ETag"]


# --- problems ---


def test_a_problem_says_all_that_a_client_needs(donor_api: Caller) -> None:
    refused = donor_api.get(f"sites/{KEY}", x_request_id="seen-by-the-client")
    assert refused["X-Request-Id"] == "seen-by-the-client"
    assert refused.body == {
        "type": "/api/v1/problems#not_found",
        "title": "Not found",
        "status": 404,
        "detail": "There is no such thing, or it is not yours to see.",
        "instance": f"/api/v1/sites/{KEY}",
        "code": "not_found",
        "request_id": "seen-by-the-client",
        "errors": [],
    }


@pytest.mark.parametrize(
    ("method", "path", "body", "headers", "status", "code"),
    [
        ("POST", "sites", b"{", {}, 400, "malformed"),
        ("POST", "sites", b'{"latitude_deg": NaN}', {}, 400, "malformed"),
        ("POST", "sites", b"\xff", {}, 400, "malformed"),
        ("POST", "sites", b"a=1", {"content_type": "application/x-www-form-urlencoded"}, 415, "media_type"),
        ("POST", "sites", b"[" + b"1," * 600_000 + b"1]", {}, 413, "too_large"),
        ("PUT", "sites", b"", {}, 405, "method_not_allowed"),
        ("OPTIONS", "sites", b"", {}, 405, "method_not_allowed"),
        ("GET", "nothing", b"", {}, 404, "not_found"),
        ("GET", "sites/7", b"", {}, 404, "not_found"),
    ],
)
def test_each_mistake_has_its_status(
    donor_api: Caller, method: str, path: str, body: bytes, headers: dict[str, str], status: int, code: str
) -> None:
    key = {"idempotency_key": KEY} if method == "POST" else {}
    refused = donor_api.call(method, path, body, **key, **headers)
    assert (refused.status, refused.code) == (status, code)


def test_half_a_sign_in_a_body_is_no_mistake_of_ours(donor_api: Caller) -> None:
    refused = donor_api.call("POST", "sites", b'{"na\\ud800me": 1, "name": "\\udfff"}', idempotency_key=KEY)
    assert refused.status == 400
    assert refused.faults["/na?me"] == "unknown_field"


def test_a_mistake_of_ours_says_nothing_but_its_id(
    donor_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(**_: Any) -> None:
        raise RuntimeError("name@example.org")

    monkeypatch.setattr("exchange.api.v1.site.site_create", broken)
    failed = donor_api.post("sites", NEW, idempotency_key=KEY)
    assert (failed.status, failed.code) == (500, "internal")
    assert b"example.org" not in failed.response.content
    assert failed.body["request_id"] == failed["X-Request-Id"]
    assert IdempotentAnswer.objects.count() == 0


def test_a_database_that_is_away_is_told_with_when_to_ask_again(
    donor_api: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(**_: Any) -> None:
        raise OperationalError("server closed the connection")

    monkeypatch.setattr("exchange.api.v1.site.site_create", away)
    failed = donor_api.post("sites", NEW)
    assert (failed.status, failed.code, failed["Retry-After"]) == (503, "unavailable", "5")


def test_the_catalogue_is_the_list_that_types_point_to(nobody: Caller) -> None:
    listed = nobody.get("problems").body["results"]
    assert [each["code"] for each in listed] == [kind.code for kind in KINDS]
    assert len({kind.code for kind in KINDS}) == len(KINDS)


def test_a_special_code_of_a_service_keeps_its_status() -> None:
    class Short(Conflict):
        code = "doses_short"

    problem = as_problem(Short("Two doses are left."))
    assert problem is not None
    assert (problem.kind.code, problem.kind.status, problem.detail) == (
        "doses_short",
        409,
        "Two doses are left.",
    )
    assert as_problem(InvalidInput("x")).kind.status == 422  # type: ignore[union-attr]
    assert kind_of("new", 404).title == kind_of("not_found").title
    assert as_problem(ValueError("x")) is None


def test_pointers_are_json_pointers() -> None:
    found = faults_of({"a/b": {"c~d": ["wrong"]}, "list": {0: ["odd"]}, "rows": [{}, {"x": ["y"]}]})
    assert [fault.pointer for fault in found] == ["/a~1b/c~0d", "/list/0", "/rows/1/x"]


# --- limits ---


def test_a_limit_says_when_to_come_back(donor_api: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    cache.clear()
    monkeypatch.setattr(settings, "REQUESTS_PER_MINUTE", 0)
    refused = donor_api.get("me")
    assert (refused.status, refused.code) == (429, "too_many_requests")
    assert 1 <= int(refused["Retry-After"]) <= 60
    monkeypatch.setattr(settings, "GUEST_REQUESTS_PER_MINUTE", 0)
    assert Caller().get("taxa").code == "too_many_requests"


def test_a_count_is_of_one_thing() -> None:
    cache.clear()
    before = [count("one"), count("other"), count("one")]
    assert before in ([1, 1, 2], [1, 1, 1])  # the last where a minute ended in between


# --- changes at the same moment ---


@pytest.mark.django_db(transaction=True)
def test_of_many_changes_with_one_tag_one_is_made() -> None:
    grower = make_grower("donor")
    site = make_site(grower)
    token = caller(grower).token
    path = f"sites/{site.public_id}"
    tag = Caller(token).get(path)["ETag"]

    def patch(depth: int) -> int:
        try:
            return Caller(token).call("PATCH", path, {"water_depth_cm": depth}, if_match=tag).status
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        statuses = list(pool.map(patch, range(10, 18)))
    assert sorted(statuses) == [200] + [412] * 7
    site.refresh_from_db()
    assert site.water_depth_cm == 10 + statuses.index(200)


@pytest.mark.parametrize("path", ["me", "site", "plant"])
def test_a_change_of_nothing_changes_nothing(donor: Grower, donor_api: Caller, path: str) -> None:
    plant = make_plant(donor)
    address = {"me": "me", "site": f"sites/{plant.site.public_id}", "plant": f"plants/{plant.public_id}"}[
        path
    ]
    before = donor_api.get(address)
    after = donor_api.patch(address, {})
    assert (after.status, after.body, after["ETag"]) == (200, before.body, before["ETag"])


# --- words ---


def test_no_sentence_of_the_transport_escapes_translation(
    donor_api: Caller, nobody: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a language in which every sentence is marked."""
    monkeypatch.setattr(trans_real.DjangoTranslation, "gettext", lambda _self, text: f"⟦{text}⟧")
    refused = [
        nobody.get("me"),
        donor_api.get(f"sites/{KEY}"),
        donor_api.get("sites?limit=0"),
        donor_api.get("sites?limit=1&limit=1"),
        donor_api.get("sites?colour=red"),
        donor_api.get("pairings?updated_since=noon"),
        donor_api.get("matching-runs"),
        donor_api.call("POST", "sites", NEW),
        donor_api.post("sites", NEW, idempotency_key="short"),
        donor_api.post("sites", {**NEW, "colour": "red", "name": "a\0b", "latitude_deg": 91}),
        donor_api.post("sites", b"{"),
    ]
    assert {answer.status for answer in refused} == {400, 401, 404}
    for answer in refused:
        said = [answer.body["title"], answer.body["detail"]]
        said += [fault["detail"] for fault in answer.body["errors"]]
        assert [text for text in said if not text.startswith("⟦")] == []
