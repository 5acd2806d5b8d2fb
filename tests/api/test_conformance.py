"""What the document promises holds for generated requests: no undeclared status, no 5xx, no mismatch.

Valid requests get ids and tags of rows that exist, so that they reach the services; that they can is shown
by the requests of the document itself, which all succeed.
"""

import os
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, assume, settings
from pytest_django import DjangoDbBlocker
from schemathesis.config import SchemathesisConfig

from exchange.api.page import document
from exchange.project.wsgi import application
from tests.api.access_call import undone
from tests.api.caller import Answer, Caller
from tests.api.conformance_world import World, make_world
from tests.clock import MovableClock
from tests.exchange.society import NOON

EXAMPLES = 6
MANY_EXAMPLES = 100
CHECKS = {
    # What fits the description may still break a rule, or be changed meanwhile.
    "positive_data_acceptance": {
        "expected-statuses": [200, 201, 202, 204, 401, 403, 404, 409, 412, 422, 428]
    },
    "missing_required_header": {"expected-statuses": [400, 401, 403, 406, 422, 428]},
}


def described(*, every_edge: bool) -> schemathesis.BaseSchema:
    """The document as a source of requests; with ``every_edge`` each limit of each field is tried too."""
    phases = {"coverage": {"enabled": every_edge}}
    config = SchemathesisConfig.from_dict({"checks": CHECKS, "phases": phases})
    schema = schemathesis.openapi.from_dict(document(), config=config)
    schema.app = application
    return schema


owner_schema, outsider_schema = described(every_edge=True), described(every_edge=False)


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """One world for all, which costs more than ten requests; nothing of it stays."""
    clock = MovableClock(Path(os.environ["CLOCK_OFFSET_FILE"]))
    clock.set(NOON)
    # As Django's own test client does: a request would close the connection, which is the test's here.
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    try:
        with django_db_blocker.unblock(), undone():
            yield make_world()
    finally:
        for signal in (request_started, request_finished):
            signal.connect(close_old_connections)
        clock.reset()


@pytest.fixture
def world(made: World, db: None, clock: MovableClock) -> World:
    """The world as it was made: what a test does to it is taken back."""
    clock.set(NOON)
    return made


def check(case: Any, world: World, viewer: str) -> None:
    if case.meta.generation.mode.is_positive:
        # The transport leaves a part out that has no content.
        assume(not isinstance(case.body, dict) or case.body.get("file", True))
        known = world.id_at(case.path)
        if "id" in (case.path_parameters or {}) and known is not None:
            case.path_parameters["id"] = known
        if "If-Match" in (case.headers or {}):
            case.headers["If-Match"] = "*"
        if (body := world.named(case.body)) != case.body:
            case.body = body
    case.call_and_validate(headers={"Authorization": f"Bearer {world.tokens[viewer]}"})


limits = settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@owner_schema.parametrize()
@limits
def test_the_owner_is_answered_as_declared(case: Any, world: World) -> None:
    check(case, world, "owner")


@outsider_schema.parametrize()
@limits
def test_an_outsider_is_answered_as_declared(case: Any, world: World) -> None:
    check(case, world, "outsider")


@pytest.mark.slow
@pytest.mark.parametrize("viewer", ["owner", "outsider"])
@owner_schema.parametrize()
@settings(limits, max_examples=MANY_EXAMPLES)
def test_many_requests_are_answered_as_declared(case: Any, world: World, viewer: str) -> None:
    check(case, world, viewer)


def shown_requests() -> Iterator[tuple[str, str, str, Any]]:
    """Method, path, status of success and a body of each operation, as the document shows them."""
    paths: Any = document()["paths"]
    for path, item in paths.items():
        for method in sorted(item.keys() & {"get", "post", "patch", "delete"}):
            content = item[method].get("requestBody", {}).get("content", {})
            bodies = [each["value"] for kind in content.values() for each in kind["examples"].values()]
            success = min(item[method]["responses"])
            yield from ((method, path, success, body) for body in bodies or [None])


def called(owner: Caller, method: str, address: str, body: Any, headers: dict[str, str]) -> Answer:
    """A call with a JSON body, or with a form if a table is in it."""
    if isinstance(body, dict) and "file" in body:
        return owner.upload(address, body["file"], **{name: body[name] for name in body if name != "file"})
    return owner.call(method.upper(), address, body, **headers)


def test_what_the_document_shows_reaches_the_services(world: World) -> None:
    owner, answered = Caller(world.tokens["owner"]), {}
    for method, path, success, body in shown_requests():
        address = path.replace("{id}", world.id_at(path) or "")
        headers = {"idempotency_key": str(uuid.uuid4()), "if_match": "*"}
        with transaction.atomic():
            answer = called(owner, method, address, world.named(body), headers)
            transaction.set_rollback(True)
        if answer.status != int(success):
            answered[f"{method} {path}"] = answer.status
    # Only a session of the pages may close an account.
    assert answered == {"delete /api/v1/me": 403}
