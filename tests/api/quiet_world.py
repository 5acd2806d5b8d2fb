"""Courses of events that differ in one grower's plant and answers, and all that somebody else can read.

Ids and instants are the same in each, so that only what the owner has and says is left.
"""

import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.core.cache import cache
from django.db import models, transaction

from exchange.api.v1.try_out import TRIED
from exchange.models import DueTask, MatchingRun, Notification, Offer, Pairing, QuietAsk, WantedCross
from exchange.services.coordinator import coordinator_grant
from exchange.tasks.due import due_sweep
from growers import clock
from growers.models import BloomSeason, Grower, Plant, Site, Taxon
from growers.models.base import PublicModel
from growers.services.grower import grower_update
from tests.api.caller import Caller, caller
from tests.api.every_get import REQUEST, everything
from tests.exchange.quiet import make_owner, make_unoffered, make_wish
from tests.exchange.society import NOON, make_groups
from tests.factories import make_grower, make_offer

HOURS = (0, 0.2, 12.5, 12.7)
"""When the sweeps come, from noon into the next day; the owner answers between the second and the third."""


@dataclass
class Constant:
    """Ids and instants that depend on nothing but how many rows of a model were made before."""

    now: datetime = NOON
    made: Counter[str] = field(default_factory=Counter)

    def install(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Replace the clock and the random ids of all rows."""
        monkeypatch.setattr(clock, "true_now", lambda: self.now)
        for model in apps.get_models():
            if issubclass(model, PublicModel):
                monkeypatch.setattr(model._meta.get_field("public_id"), "_get_default", self._ids(model))

    def _ids(self, model: type[models.Model]) -> Callable[[], uuid.UUID]:
        def next_id() -> uuid.UUID:
            self.made[model.__name__] += 1
            return uuid.uuid5(uuid.NAMESPACE_OID, f"{model.__name__} {self.made[model.__name__]}")

        return next_id


@dataclass(frozen=True)
class Course:
    """What the owner has, allows and answers."""

    group: str = "hardy"
    may_be_asked: bool = True
    answer: str = ""


@dataclass(frozen=True)
class Seen:
    """What the asker reads at every address, and what is stored of runs and news."""

    answers: dict[str, bytes]
    rows: dict[str, list[dict[str, Any]]]
    questions: int


@dataclass(frozen=True)
class Society:
    """Growers with their clients."""

    constant: Constant
    owner: Grower
    asker: Grower
    owner_api: Caller
    asker_api: Caller

    def seen(self, course: Course) -> Seen:
        """Live into the next day; then nothing has been."""
        with self._undone():
            _settle(self, course)
            for hours in HOURS:
                self.constant.now = NOON + timedelta(hours=hours)
                due_sweep()
                if hours == HOURS[1] and course.answer:
                    _answer(self, course.answer)
            make_wish(self.asker)
            due_sweep()
            return Seen(_read(self.asker_api), _rows(), QuietAsk.objects.count())

    @contextmanager
    def _undone(self) -> Iterator[None]:
        made, now = self.constant.made.copy(), self.constant.now
        cache.clear()
        with transaction.atomic():
            yield
            transaction.set_rollback(True)
        self.constant.made, self.constant.now = made, now


def make_quiet_society(constant: Constant) -> Society:
    """The asker is a coordinator too, who reads more than others."""
    make_groups()
    owner, asker = make_grower("owner"), make_grower("asker")
    make_owner(owner)
    coordinator_grant(handle="asker")
    return Society(constant, owner, asker, caller(owner), caller(asker))


def _settle(society: Society, course: Course) -> None:
    """One wish that an offer serves, one that nothing on offer serves."""
    given = make_unoffered(make_owner(make_grower("donor")), name_as_grown="'Ferry'")
    make_offer(given, countries=["DE"])
    make_wish(society.asker, pollen_plants=[], pollen_groups=["hardy"], least_chance=0.0)
    make_wish(society.asker, least_chance=0.001, pollen_groups=["hardy"], traits=["night-sky blue"])
    plant = make_unoffered(society.owner, group=course.group, diel="day", traits=["night-sky blue"])
    assert plant.group == course.group
    grower_update(actor=society.owner, may_be_asked=course.may_be_asked)


def _answer(society: Society, answer: str) -> None:
    (ask,) = society.owner_api.get("quiet-asks").body["results"]
    offered = {"treatment": "dried", "doses": 2} if answer == "yes" else {}
    body = {"answer": answer, **offered}
    assert society.owner_api.post(f"quiet-asks/{ask['id']}/answer", body).status == 200


def _read(api: Caller) -> dict[str, bytes]:
    """Every GET, and what else tells something without changing it."""
    asked = {"matching-runs/dry-run": {}, "try-out": TRIED}
    posts = {path: api.post(path, body, x_request_id=REQUEST).response for path, body in asked.items()}
    return everything(api, _ids()) | {
        path: f"{post.status_code} {sorted(post.items())} ".encode() + post.content
        for path, post in posts.items()
    }


def _ids() -> dict[str, list[Any]]:
    """Of every row that anybody could know of."""
    kinds: dict[str, type[PublicModel]] = {
        "bloom-seasons": BloomSeason,
        "matching-runs": MatchingRun,
        "offers": Offer,
        "pairings": Pairing,
        "plants": Plant,
        "sites": Site,
        "taxa": Taxon,
        "wanted-crosses": WantedCross,
    }
    return {
        kind: list(model._default_manager.values_list("public_id", flat=True))
        for kind, model in kinds.items()
    }


def _rows() -> dict[str, list[dict[str, Any]]]:
    """What is stored besides: runs with what they considered, pairings, news, and the work that waits."""
    found: dict[str, Any] = {
        "runs": MatchingRun.objects,
        "pairings": Pairing.objects,
        "news": Notification.objects,
        "due": DueTask.objects.exclude(kind="quiet_ask"),
    }
    return {name: [_plain(row) for row in rows.order_by("pk").values()] for name, rows in found.items()}


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    """Without keys that never leave the server, and the digest that is made of them."""
    inner = {name for name in row if name.endswith("_id") and name != "public_id"} | {"id", "input_digest"}
    return {name: value for name, value in row.items() if name not in inner}
