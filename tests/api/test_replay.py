"""Every POST sent again: one effect, the same answer; of a request that broke down half-way nothing stays."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from exchange.api.resource import Resource
from exchange.models import IdempotentAnswer
from growers.models import Grower
from tests.api import (  # noqa: F401 - they prepare too
    every_calendar_post,
    every_gathering_post,
    every_lot_post,
    every_shipment_post,
    every_webhook_post,
)
from tests.api.every_post import PREPARATIONS, Post, Stage, operations, prepared
from tests.clock import MovableClock
from tests.exchange.difference import difference, story, unlike
from tests.exchange.refusal import Snapshot, rows
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

KEY = "0c3de5a4-9a54-4b0f-8f3e-6a1f7f5f2f4e"
KEPT_HEADERS = ("Content-Type", "Location", "ETag")
OPERATIONS = operations()
KEYED = sorted(name for name, operation in OPERATIONS.items() if operation.keyed)
NOT_KEYED = sorted(set(OPERATIONS) - set(KEYED))
QUEUE = ("growers_change",)
"""A fact that is stated once more may be reckoned once more."""


@pytest.fixture
def stage(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Stage:
    clock.set(NOON)
    return Stage(donor, recipient, outsider)


@contextmanager
def breaking_down() -> Iterator[None]:
    """Every operation fails here once its service has done all."""
    whole = Resource._done

    def half(self: Resource, *arguments: Any) -> Any:
        whole(self, *arguments)
        raise RuntimeError("the machine stops here")

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Resource, "_done", half)
        yield


def test_there_is_a_preparation_for_every_post_and_no_other() -> None:
    assert set(PREPARATIONS) == set(OPERATIONS)
    assert len(KEYED) >= 20


@pytest.mark.parametrize("name", KEYED)
def test_with_a_key_it_is_done_once_or_not_at_all(stage: Stage, name: str) -> None:
    post, secret = prepared(name)(stage), OPERATIONS[name].secret
    nothing = state(post)
    with breaking_down():
        broken = post.send(post.body, idempotency_key=KEY)
    assert (broken.status, broken.code) == (500, "internal")
    assert state(post) == nothing

    first = post.send(post.body, idempotency_key=KEY)
    assert first.status == OPERATIONS[name].status, first.body
    assert "Idempotency-Replayed" not in first.response
    done = state(post)
    assert set(difference(nothing, done).counts()) > {"exchange_idempotentanswer"}

    again = post.send(post.body, idempotency_key=KEY)
    if secret:
        assert (again.status, again.code) == (409, "secret_already_shown")
        assert bytes(IdempotentAnswer.objects.get(key=KEY).answer) == b""
    else:
        assert (again.status, again.response.content) == (first.status, first.response.content)
        assert headers(again) == headers(first)
        assert again["Idempotency-Replayed"] == "true"
    assert state(post) == done

    other = post.send(post.other_body(), idempotency_key=KEY)
    assert (other.status, other.code) == (422, "key_reused")
    assert state(post) == done


@pytest.mark.parametrize("name", NOT_KEYED)
def test_without_a_key_twice_is_as_good_as_once(stage: Stage, name: str) -> None:
    post = prepared(name)(stage)
    first = post.send(post.body)
    assert first.status == OPERATIONS[name].status, first.body
    done = story(state(post), without=QUEUE)
    again = post.send(post.body)
    assert again.status in (first.status, 409)
    assert unlike(story(state(post), without=QUEUE), done) == {}


def headers(answer: Any) -> dict[str, str]:
    return {name: answer[name] for name in KEPT_HEADERS if name in answer.response}


def state(post: Post) -> Snapshot:
    """All tables, once whoever posts has been seen: that a token is in use is noted every few minutes."""
    post.api.get("problems")
    return rows()
