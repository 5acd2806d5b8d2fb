"""What the document promises holds for generated requests: no undeclared status, no 5xx, no mismatch.

Valid requests get ids and tags of rows that exist, so that they reach the services; that they can is shown
by the requests of the document itself, which all succeed.
"""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from exchange.api.page import document
from exchange.api.v1.token import SIGN_IN
from exchange.models import ApiToken, Notification, QuietAsk, WantedCross
from exchange.project.wsgi import application
from exchange.services.account import email_confirm
from exchange.services.agreement_note import note_write
from exchange.services.block import block_create
from exchange.services.border_note import BorderNoteFields, border_note_propose
from exchange.services.coordinator import coordinator_grant
from exchange.services.matching_order import matching_order
from growers.models import Grower, Plant
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_create, grower_update
from tests.api.caller import Answer, Caller, caller
from tests.clock import MovableClock
from tests.exchange.bargain import propose
from tests.exchange.society import NOON, SUMMER, TODAY, make_groups, make_pairing
from tests.factories import (
    make_grower,
    make_offer,
    make_plant,
    make_season,
    make_site,
    make_taxon,
    make_wanted_cross,
)

EXAMPLES = 10
MANY_EXAMPLES = 100
KINDS = {
    "site_id": "sites",
    "plant_id": "plants",
    "taxon_id": "taxa",
    "seed_parent_id": "plants",
    "pollen_parent_id": "plants",
    "pollen_plant_id": "plants",
    "pollen_taxon_id": "taxa",
}
"""What an id in a body is of; its plural is a list of them."""
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


@dataclass(frozen=True)
class World:
    """Rows that generated requests may meet, and the tokens of their owner and of a stranger."""

    ids: dict[str, str]
    tokens: dict[str, str]


@pytest.fixture
def world(db: None, clock: MovableClock) -> Iterator[World]:
    clock.set(NOON)
    make_groups()
    owner, stranger = who_signs_in(), make_grower("outsider")
    taxon = make_taxon()
    plant = make_plant(owner, site=make_site(owner, name="first pond"), taxon=taxon, number="12")
    season = make_season(make_plant(owner), date(2026, 6, 1), date(2026, 9, 1))
    bloom_said_set(actor=owner, plant=plant, **SUMMER)
    tokens = {"owner": caller(owner).token, "outsider": caller(stranger).token}
    caller(owner)
    spare = ApiToken.objects.filter(user=owner).latest("created_at")
    ids = {
        "plants": plant.public_id,
        "sites": plant.site.public_id,
        "taxa": taxon.public_id,
        "bloom-seasons": season.public_id,
        "tokens": spare.public_id,
        **deals(plant, make_plant(make_grower("recipient"), taxon=taxon)),
    }
    # As Django's own test client does: a request would close the connection, which is the test's here.
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield World({name: str(public_id) for name, public_id in ids.items()}, tokens)
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def who_signs_in() -> Grower:
    """The owner, who can sign in as the document shows it."""
    email, password = str(SIGN_IN["email"]), str(SIGN_IN["password"])
    owner = grower_create(handle="donor", email=email, password=password)
    email_confirm(grower=owner)
    return owner


BORDER_NOTE: BorderNoteFields = {
    "kind": "conditions",
    "destination": "DE",
    "text": "ask first",
    "source": "a page",
    "asked_whom": "an office",
    "checked_on": TODAY,
}


def deals(owned: Plant, other: Plant) -> dict[str, UUID]:
    """Deals of the owner, a coordinator too: an offer, a wanted cross, a pairing with another, a run."""
    coordinator_grant(handle=owned.grower.handle)
    offer, wanted, asked = make_offer(owned), make_wanted_cross(owned), make_wanted_cross(other)
    pairing = make_pairing(offer, asked)
    told = Notification.objects.create(grower=owned.grower, kind="pairing_proposed", pairing=pairing)
    agreement = propose(pairing, doses=1)
    written = note_write(actor=other.grower, agreement=agreement, text="Good morning.")
    border = border_note_propose(actor=other.grower, **BORDER_NOTE)
    blocked = block_create(actor=owned.grower, blocked=make_grower("bystander"))
    return {
        "agreement-notes": written.public_id,
        "agreements": agreement.public_id,
        "border-notes": border.public_id,
        "blocks": blocked.public_id,
        "offers": offer.public_id,
        "quiet-asks": quiet_ask(owned, asked),
        "wanted-crosses": wanted.public_id,
        "pairings": pairing.public_id,
        "matching-runs": pairing.run.public_id,
        "matching-orders": matching_order(actor=owned.grower, now=NOON).public_id,
        "notifications": told.public_id,
    }


def named(body: Any, world: World) -> Any:
    """A body in which ids are those of rows that exist, and a file is not empty.

    Werkzeug, which sends it, makes of an empty file a part without a body, which Django takes for none.
    """
    if not isinstance(body, dict):
        return body
    known = {name: world.ids[kind] for name, kind in KINDS.items()}
    one = {name: known[name] for name in body if name in known}
    several = {name: [known[name[:-1]]] for name in body if name[:-1] in known}
    table = {"file": body["file"] or "\n"} if "file" in body else {}
    return {**body, **one, **several, **table}


def quiet_ask(owned: Plant, wanted: WantedCross) -> UUID:
    """A question to the owner about a plant that is not on offer."""
    grower_update(actor=owned.grower, may_be_asked=True)
    other = make_plant(owned.grower, taxon=owned.taxon)
    return QuietAsk.objects.create(plant=other, wanted_cross=wanted).public_id


def check(case: Any, world: World, viewer: str) -> None:
    if case.meta.generation.mode.is_positive:
        kind = case.path.split("/")[3]
        if "id" in (case.path_parameters or {}) and kind in world.ids:
            case.path_parameters["id"] = world.ids[kind]
        if "If-Match" in (case.headers or {}):
            case.headers["If-Match"] = "*"
        if (body := named(case.body, world)) != case.body:
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
        kind = path.split("/")[3]
        address = path.replace("{id}", world.ids.get(kind, ""))
        headers = {"idempotency_key": str(uuid.uuid4()), "if_match": "*"}
        with transaction.atomic():
            answer = called(owner, method, address, named(body, world), headers)
            transaction.set_rollback(True)
        if answer.status != int(success):
            answered[f"{method} {path}"] = answer.status
    # Only a session of the pages may close an account.
    assert answered == {"delete /api/v1/me": 403}
