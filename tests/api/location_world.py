"""A small society in which one grower's exact place can be any, and all that anybody else can read of it.

Ids, instants and random bytes are the same in every world, so that only what the place does is left.
"""

import json
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any, Literal, cast

import pytest
from django.apps import apps
from django.core.cache import cache as counters
from django.db import models, transaction

from exchange.api.page import document_json
from exchange.models import (
    Agreement,
    AgreementNote,
    ApiToken,
    Block,
    BorderNote,
    CalendarFeed,
    CarrierService,
    Gathering,
    Lot,
    MatchingOrder,
    MatchingRun,
    Notification,
    Offer,
    Packet,
    Pairing,
    Recall,
    Shipment,
    Store,
    TemperatureUpload,
    WantedCross,
    Webhook,
)
from exchange.services.calendar_feed import feed_create, feed_read
from exchange.services.coordinator import coordinator_grant
from exchange.tasks.due import due_sweep
from growers import clock, place
from growers.models import BloomSeason, Grower, Plant, Site, Taxon
from growers.models.base import PublicModel
from growers.services.bloom import bloom_said_set
from tests.api import location_deal
from tests.api.caller import Answer, Caller, caller
from tests.exchange.society import GERMANY, NOON, SUMMER, make_groups
from tests.factories import (
    make_grower,
    make_offer,
    make_plant,
    make_season,
    make_site,
    make_wanted_cross,
)

Role = Literal["donor", "recipient"]
ROWS: dict[str, tuple[type[models.Model], str]] = {
    "agreement-notes": (AgreementNote, "author"),
    "agreements": (Agreement, "donor"),
    "blocks": (Block, "grower"),
    "bloom-seasons": (BloomSeason, "plant__grower"),
    "border-notes": (BorderNote, "proposed_by"),
    "calendar-feeds": (CalendarFeed, "grower"),
    "carrier-services": (CarrierService, "grower"),
    "gatherings": (Gathering, "steward"),
    "lots": (Lot, "plant__grower"),
    "matching-orders": (MatchingOrder, ""),
    "matching-runs": (MatchingRun, ""),
    "notifications": (Notification, "grower"),
    "offers": (Offer, "plant__grower"),
    "temperatures": (TemperatureUpload, "lot__plant__grower"),
    "packets": (Packet, "lot__plant__grower"),
    "pairings": (Pairing, "offer__plant__grower"),
    "plants": (Plant, "grower"),
    "recalls": (Recall, "plant__grower"),
    "shipments": (Shipment, "agreement__donor"),
    "sites": (Site, "grower"),
    "stores": (Store, "grower"),
    "taxa": (Taxon, ""),
    "tokens": (ApiToken, "user"),
    "wanted-crosses": (WantedCross, "seed_parent__grower"),
    "webhooks": (Webhook, "grower"),
}
"""Whose ids an address takes, and which way its owner is; an address of a new kind must be added here."""

NEIGHBOURS = 4
"""With the owner of the place, as many as a region must hold to be named."""

REQUEST_ID = "the-same-request"


@dataclass(frozen=True)
class Secret:
    """What only the owner of a site knows of it."""

    points: tuple[tuple[float, float], tuple[float, float]]
    """Latitude and longitude as first entered and as corrected later, in degrees."""
    keep_exact: bool
    town: str
    weather_c: tuple[float, ...]
    """Measured air means of the days before today."""


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
        monkeypatch.setattr(Lot._meta.get_field("code"), "_get_default", self._next_code)

    def _next_code(self) -> str:
        self.made["code"] += 1
        return f"{self.made['code']:08d}"

    def _ids(self, model: type[models.Model]) -> Any:
        def next_id() -> uuid.UUID:
            self.made[model.__name__] += 1
            return uuid.uuid5(uuid.NAMESPACE_OID, f"{model.__name__} {self.made[model.__name__]}")

        return next_id


@dataclass(frozen=True)
class Society:
    """Growers with their clients; nobody has a site yet."""

    constant: Constant
    growers: dict[str, Grower]
    clients: dict[str, Caller]


def make_society(constant: Constant) -> Society:
    """The growers of all worlds."""
    counters.clear()
    make_groups()
    names = ["donor", "recipient", "outsider", "weir", *(f"neighbour-{n}" for n in range(NEIGHBOURS))]
    growers = {name: make_grower(name) for name in names}
    coordinator_grant(handle="weir")
    return Society(
        constant, growers, {"nobody": Caller(), **{name: caller(growers[name]) for name in names[:4]}}
    )


@contextmanager
def undone(constant: Constant) -> Iterator[None]:
    """A world that leaves nothing, neither rows nor ids that were given."""
    made, now = constant.made.copy(), constant.now
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
    constant.made, constant.now = made, now


def seen_by_others(society: Society, moved: Role, secret: Secret, level: str | None) -> dict[str, str]:
    """Live through a season in which the site of ``moved`` has this secret; every answer others get."""
    with undone(society.constant):
        world = World(society, moved, secret, level)
        world.settle()
        world.deal()
        world.match()
        world.bargain()
        world.correct()
        return world.read()


@dataclass
class World:
    """One course of events; each stage is a minute after the one before."""

    society: Society
    moved: Role
    secret: Secret
    level: str | None
    answers: dict[str, str] = field(default_factory=dict)

    @property
    def cell(self) -> place.Cell:
        """Where the site is for everybody else."""
        return place.cell_at(*self.secret.points[0])

    def settle(self) -> None:
        """The owner enters the site with its weather; others live in the same cell and far away."""
        latitude, longitude = self.secret.points[0]
        entered = {"name": self.secret.town, "nearest_town": self.secret.town, "country": "FR"}
        exact = {"latitude_deg": latitude, "longitude_deg": longitude, "keep_exact": self.secret.keep_exact}
        shown = {"region_level": self.level} if self.level else {}
        for number in range(NEIGHBOURS):
            neighbour = self.society.growers[f"neighbour-{number}"]
            centre = {"latitude_deg": self.cell.latitude_deg, "longitude_deg": self.cell.longitude_deg}
            make_site(neighbour, country="FR", region_level="cell", **cast(Any, centre))
        made = self._as_owner("POST", "sites", {**entered, **exact, **shown})
        self.site_id = made.body["id"]
        self._upload(self.secret.weather_c[::2])

    def _upload(self, means_c: tuple[float, ...]) -> None:
        for number, mean_c in enumerate(means_c):
            day = NOON.date() - timedelta(days=number)
            self._as_owner(
                "POST",
                f"sites/{self.site_id}/weather-days",
                {"measured_on": str(day), "mean_c": mean_c, "water_c": mean_c},
            )

    def _as_owner(self, method: str, path: str, body: dict[str, Any]) -> Answer:
        headers = {"idempotency_key": str(uuid.uuid4()), "if_match": "*"}
        answer = self.society.clients[self.moved].call(method, path, body, **headers)
        assert answer.status in (200, 201), answer.response.content
        return answer

    def deal(self) -> None:
        """Pollen in hand and on request, asked for by one from abroad; the same is wanted all around."""
        self._pass_a_minute()
        growers = self.society.growers
        donor, recipient = growers["donor"], growers["recipient"]
        if self.moved == "donor":
            make_site(recipient, **GERMANY)
        else:
            make_site(donor, **GERMANY)
        given, seed = make_plant(donor, name_as_grown="'Ferry'"), make_plant(recipient)
        for plant in (given, seed):
            bloom_said_set(actor=plant.grower, plant=plant, **SUMMER)
            make_season(plant, date(2026, 6, 8), date(2026, 9, 12))
        countries = sorted({site.cell_country for site in Site.objects.filter(grower=recipient)})
        abroad = [code for code in countries if code != given.site.cell_country]
        make_offer(given, countries=abroad)
        make_wanted_cross(seed, flowers=2, pollen_groups=["hardy"])
        for grower in (growers[self.moved], *(growers[f"neighbour-{n}"] for n in range(NEIGHBOURS))):
            plant = make_plant(grower, group="lotos", diel="night")
            bloom_said_set(actor=grower, plant=plant, **SUMMER)
            make_wanted_cross(plant, pollen_groups=["lotos"])

    def match(self) -> None:
        """The coordinator orders a round, and it is made."""
        self._pass_a_minute()
        self._note("weir", "POST", "matching-runs", {})
        due_sweep()

    @property
    def partner(self) -> Role:
        """The other side of the deal, who reads more of it than anybody else."""
        return "recipient" if self.moved == "donor" else "donor"

    def bargain(self) -> None:
        """The two agree, read before that by the partner too; the partner is asked, tells and blocks."""
        self._pass_a_minute()
        growers = self.society.growers
        partner = growers[self.partner]
        proposed = location_deal.say_yes(growers["recipient"])
        for address in ("", "/papers"):
            self._note(self.partner, "GET", f"agreements/{proposed.public_id}{address}")
        self._pass_a_minute()
        location_deal.say_yes_too(proposed)
        self._note(self.partner, "POST", f"agreements/{proposed.public_id}/address")
        location_deal.be_asked(partner, self.cell_country)
        location_deal.tell_of_border(partner, self.cell_country, growers["weir"])
        location_deal.block(partner, growers["neighbour-0"])

    @property
    def cell_country(self) -> str:
        """The country of the moved site as others know it."""
        return Site.objects.get(public_id=self.site_id).cell_country

    def correct(self) -> None:
        """The owner corrects the place inside its cell and uploads more weather; a round is tried."""
        self._pass_a_minute()
        latitude, longitude = self.secret.points[1]
        exact = {"latitude_deg": latitude, "longitude_deg": longitude, "keep_exact": self.secret.keep_exact}
        self._as_owner("PATCH", f"sites/{self.site_id}", exact)
        self._upload(self.secret.weather_c)
        self._note("weir", "POST", "matching-runs/dry-run", {})

    def read(self) -> dict[str, str]:
        """Every GET of the document by everybody else, and what can be asked besides."""
        self._pass_a_minute()
        partner = self.partner
        for viewer in (partner, "outsider", "weir", "nobody"):
            for address in addresses(self.moved, *([partner] if viewer == partner else [])):
                self._note(viewer, "GET", address)
        for viewer in (partner, "outsider"):
            feed = feed_create(actor=self.society.growers[viewer], name="telephone")
            self.answers[f"calendar of {viewer}"] = str(feed_read(secret=feed.secret))
        centre = {"latitude_deg": self.cell.latitude_deg, "longitude_deg": self.cell.longitude_deg}
        self._note("outsider", "POST", "sites", {"name": "next door", "country": "FR", **centre})
        for pairing in Pairing.objects.order_by("public_id"):
            self._note(partner, "POST", f"pairings/{pairing.public_id}/dismiss")
        return self.answers

    def _note(self, viewer: str, method: str, address: str, body: dict[str, Any] | None = None) -> None:
        headers = {"idempotency_key": f"request-{len(self.answers)}", "x_request_id": REQUEST_ID}
        answer = self.society.clients[viewer].call(method, address, body, **headers)
        response = answer.response
        whole = f"{answer.status} {sorted(response.items())} {response.cookies} {answer.text}"
        self.answers[f"{len(self.answers)} {viewer} {method} {address}"] = whole

    def _pass_a_minute(self) -> None:
        self.society.constant.now += timedelta(minutes=1)


def addresses(*owners: str) -> Iterator[str]:
    """Every address that answers a GET, with the ids of these owners' rows; lists also by pages of one."""
    for path, operations in paths().items():
        if "get" not in operations:
            continue
        if "{id}" in path:
            model, owner = ROWS[path.split("/")[3]]
            theirs = {f"{owner}__handle__in": owners} if owner else {}
            rows = model._default_manager.filter(**theirs).order_by("public_id")
            for public_id in rows.values_list("public_id", flat=True)[: None if owner else 1]:
                yield path.replace("{id}", str(public_id))
        else:
            yield path
        names = {each["name"] for each in operations["get"].get("parameters", ())}
        if "limit" in names and "{id}" not in path and len(owners) > 1:
            yield f"{path}?limit=1"


@cache
def paths() -> dict[str, dict[str, Any]]:
    """The addresses of the document with their operations."""
    found: dict[str, dict[str, Any]] = json.loads(document_json())["paths"]
    return found
