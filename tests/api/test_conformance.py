"""What the document promises holds for generated requests: no undeclared status, no 5xx, no mismatch.

Valid requests get ids and tags of rows that exist, so that they reach the services.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from exchange.api.page import document
from exchange.models import ApiToken, QuietAsk, WantedCross
from exchange.project.wsgi import application
from exchange.services.agreement_note import note_write
from exchange.services.block import block_create
from exchange.services.border_note import BorderNoteFields, border_note_propose
from exchange.services.coordinator import coordinator_grant
from growers import clock
from growers.models import Plant
from growers.services.grower import grower_update
from tests.api.caller import caller
from tests.exchange.bargain import propose
from tests.exchange.society import make_pairing
from tests.factories import (
    make_grower,
    make_offer,
    make_plant,
    make_season,
    make_taxon,
    make_wanted_cross,
)

EXAMPLES = 10
MANY_EXAMPLES = 100
CHECKS = {
    # What fits the description may still break a rule, or be changed meanwhile.
    "positive_data_acceptance": {"expected-statuses": [200, 201, 204, 401, 403, 404, 409, 412, 422, 428]},
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
def world(db: None) -> Iterator[World]:
    owner, stranger = make_grower("donor"), make_grower("outsider")
    taxon = make_taxon()
    plant: Plant = make_plant(owner, taxon=taxon)
    season = make_season(plant, date(2026, 6, 1), date(2026, 9, 1))
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


BORDER_NOTE: BorderNoteFields = {
    "kind": "conditions",
    "destination": "DE",
    "text": "ask first",
    "source": "a page",
    "asked_whom": "an office",
    "checked_on": clock.today("UTC"),
}


def deals(owned: Plant, other: Plant) -> dict[str, UUID]:
    """Deals of the owner, a coordinator too: an offer, a wanted cross, a pairing with another, a run."""
    coordinator_grant(handle=owned.grower.handle)
    offer, wanted, asked = make_offer(owned), make_wanted_cross(owned), make_wanted_cross(other)
    pairing = make_pairing(offer, asked)
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
    }


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
