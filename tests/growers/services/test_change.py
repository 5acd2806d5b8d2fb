"""No service writes a fact without noting it, and none keeps a fact whose note failed."""

import ast
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from types import ModuleType
from typing import Any

import pytest
from django.db import connection

from growers import services
from growers.models import BloomSeason, Change, Grower, Plant, Site, Taxon
from growers.services import change
from growers.services.bloom import (
    bloom_bud_seen,
    bloom_flowers_count,
    bloom_not_yet,
    bloom_said_set,
    bloom_season_over,
    bloom_season_record,
    bloom_season_update,
)
from growers.services.bloom_import import bloom_import
from growers.services.grower import grower_close, grower_create, grower_update
from growers.services.plant import plant_create, plant_update
from growers.services.plant_import import plant_import
from growers.services.reference import reference_load
from growers.services.site import site_create, site_update
from growers.services.taxon import taxon_update
from growers.services.weather import weather_day_set, weather_days_import
from tests.clock import MovableClock
from tests.factories import make_plant, make_season, make_site, make_taxon
from tests.growers.refusal import facts

pytestmark = pytest.mark.django_db

KINDS = {
    "growers_grower": "grower",
    "growers_site": "site",
    "growers_plant": "plant",
    "growers_taxon": "taxon",
    "growers_bloomseason": "bloom",
    "growers_bloomsaid": "bloom",
    "growers_bloomsighting": "bloom",
    "growers_weatherday": "weather",
}
NOT_FACTS = {"growers_change", "growers_referenceload"}
WRITE = re.compile(r'^\s*(?:INSERT INTO|UPDATE|DELETE FROM) "(growers_\w+)"')
DAY = date(2027, 6, 20)


@dataclass
class World:
    """A grower with one of everything."""

    grower: Grower
    site: Site
    plant: Plant
    season: BloomSeason
    taxon: Taxon

    @property
    def owned(self) -> dict[str, Any]:
        return {"actor": self.grower, "plant": self.plant}

    @property
    def placed(self) -> dict[str, Any]:
        return {"actor": self.grower, "site": self.site}


@pytest.fixture
def world(donor: Grower, clock: MovableClock) -> World:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))
    site, plant = make_site(donor), make_plant(donor, number="P-1")
    weather_day_set(actor=donor, site=site, measured_on=DAY, mean_c=20.0)
    return World(donor, site, plant, make_season(plant, date(2026, 6, 1), date(2026, 9, 1)), make_taxon())


Scenario = Callable[[World], object]

SCENARIOS: dict[str, Scenario] = {
    "bloom.bloom_bud_seen": lambda w: bloom_bud_seen(**w.owned, seen_on=DAY, bud_stage="under water"),
    "bloom.bloom_flowers_count": lambda w: bloom_flowers_count(**w.owned, seen_on=DAY, flower_count=2),
    "bloom.bloom_not_yet": lambda w: bloom_not_yet(**w.owned, seen_on=DAY),
    "bloom.bloom_said_set": lambda w: bloom_said_set(**w.owned, all_year=True),
    "bloom.bloom_season_over": lambda w: bloom_season_over(**w.owned, seen_on=DAY),
    "bloom.bloom_season_record": lambda w: bloom_season_record(**w.owned, first_flower_on=DAY),
    "bloom.bloom_season_update": lambda w: bloom_season_update(
        actor=w.grower, season=w.season, first_flower_on=date(2026, 6, 2), last_flower_on=None
    ),
    "bloom_import.bloom_import": lambda w: bloom_import(
        actor=w.grower, content=b"plant,first_flower_on\nP-1,2027-06-20\n", dry_run=False
    ),
    "grower.grower_close": lambda w: grower_close(actor=w.grower),
    "grower.grower_create": lambda w: grower_create(handle="newcomer"),
    "grower.grower_update": lambda w: grower_update(actor=w.grower, name="Somebody"),
    "plant.plant_create": lambda w: plant_create(**w.placed, group="hardy", diel="day"),
    "plant.plant_update": lambda w: plant_update(**w.owned, crowns=2),
    "plant_import.plant_import": lambda w: plant_import(
        **w.placed, content=b"name_as_grown,number,group,diel,seed_parent\na,A,hardy,day,\nb,B,hardy,day,A\n"
    ),
    "reference.reference_load": lambda w: reference_load(),
    "site.site_create": lambda w: site_create(
        actor=w.grower, name="glass house", country="FR", latitude_deg=48.85, longitude_deg=2.35
    ),
    "site.site_update": lambda w: site_update(**w.placed, water="glass"),
    "taxon.taxon_create": lambda w: make_taxon(name="Nymphaea 'Other'"),
    "taxon.taxon_update": lambda w: taxon_update(taxon=w.taxon, flower_days=4),
    "weather.weather_day_set": lambda w: weather_day_set(**w.placed, measured_on=DAY, mean_c=21.0),
    "weather.weather_days_import": lambda w: weather_days_import(
        **w.placed, content=b"date,tmean_c\n2027-06-21,19.5\n"
    ),
}
"""One call that writes, of every service."""


# --- what counts as a service ---


def modules() -> list[ModuleType]:
    names = [module.name for module in pkgutil.iter_modules(services.__path__)]
    return [importlib.import_module(f"growers.services.{name}") for name in names]


def functions() -> Iterator[tuple[str, Callable[..., object]]]:
    """Every public function of the services' modules by a short name."""
    for module in modules():
        for name, member in inspect.getmembers(module, inspect.isfunction):
            if member.__module__ == module.__name__ and not name.startswith("_"):
                yield f"{module.__name__.rpartition('.')[2]}.{name}", member


def is_service(function: Callable[..., object]) -> bool:
    """Services take named arguments only; what takes others is a part that services are made of."""
    kinds = {parameter.kind for parameter in inspect.signature(function).parameters.values()}
    return bool(kinds) and kinds <= {inspect.Parameter.KEYWORD_ONLY, inspect.Parameter.VAR_KEYWORD}


def test_every_service_is_walked() -> None:
    assert {name for name, function in functions() if is_service(function)} == set(SCENARIOS)


WRITERS = {
    "save",
    "delete",
    "update",
    "create",
    "bulk_create",
    "bulk_update",
    "get_or_create",
    "update_or_create",
}
NOTING_PARTS = {"row.row_save", "change.note_all"}
"""Parts that write: the one notes what it writes, the other is the note."""


def written_by(function: Callable[..., object]) -> set[str]:
    """Calls in a function that may write rows, by name."""
    calls = [node for node in ast.walk(ast.parse(inspect.getsource(function))) if isinstance(node, ast.Call)]
    names = {call.func.attr for call in calls if isinstance(call.func, ast.Attribute)}
    return names & WRITERS


def test_what_is_not_walked_does_not_write() -> None:
    parts = {name: function for name, function in functions() if not is_service(function)}
    assert {name for name, function in parts.items() if written_by(function)} == NOTING_PARTS


# --- what they wrote and noted ---


@dataclass
class Log:
    """Kinds of facts written by SQL, and those noted."""

    written: set[str] = field(default_factory=set)
    noted: set[str] = field(default_factory=set)

    def __call__(self, execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        table = WRITE.match(sql)
        if table and table[1] not in NOT_FACTS:
            self.written.add(KINDS[table[1]])
        return execute(sql, *rest)


@contextmanager
def logged() -> Iterator[Log]:
    """What happens inside, in writes and notes."""
    log = Log()
    before = set(Change.objects.values_list("pk", flat=True))
    with connection.execute_wrapper(log):
        yield log
    log.noted = set(Change.objects.exclude(pk__in=before).values_list("kind", flat=True))


@pytest.mark.parametrize("name", SCENARIOS)
def test_what_a_service_writes_it_notes(name: str, world: World) -> None:
    with logged() as log:
        SCENARIOS[name](world)
    assert log.written
    assert log.noted == log.written


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_fact_whose_note_fails_is_not_kept(
    name: str, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("no room for a note")

    before = facts()
    monkeypatch.setattr(Change.objects, "bulk_create", fails)
    with pytest.raises(RuntimeError, match="no room for a note"):
        SCENARIOS[name](world)
    assert facts() == before


def test_the_walk_sees_a_write_without_a_note(world: World) -> None:
    with logged() as log:
        Plant.objects.filter(pk=world.plant.pk).update(crowns=9)
    assert (log.written, log.noted) == ({"plant"}, set())


# --- the note itself ---


def test_a_note_names_the_row(world: World) -> None:
    noted = Change.objects.filter(kind="plant").get()
    assert (noted.subject_id, noted.claimed_until) == (world.plant.pk, None)


def test_a_note_of_an_unknown_kind_is_a_mistake(world: World) -> None:
    with pytest.raises(ValueError, match="petal"):
        change.note("petal", world.plant)


@pytest.mark.django_db(transaction=True)
def test_a_note_outside_a_transaction_is_a_mistake() -> None:
    with pytest.raises(RuntimeError, match="in the transaction"):
        change.note("plant", Plant(pk=1))
