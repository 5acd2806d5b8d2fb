"""No service writes an offer or a wanted cross without noting it, and none keeps one whose note failed."""

import ast
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from types import ModuleType
from typing import Any

import pytest
from django.db import connection

from exchange import services
from exchange.models import CarrierService, Lot, Offer, Packet, QuietAsk, Store, WantedCross
from exchange.services.assay import Counts, assay_record
from exchange.services.carrier_service import (
    carrier_service_create,
    carrier_service_remove,
    carrier_service_update,
)
from exchange.services.collection import offer_collect
from exchange.services.incident import WhatHappened, lot_incident, packet_incident, store_incident
from exchange.services.lot import lot_collect
from exchange.services.lot_change import (
    lot_correct,
    lot_discard,
    lot_dried,
    lot_move,
    lot_put_in_fluid,
    lot_use_up,
)
from exchange.services.offer import offer_close, offer_create, offer_in_hand_create, offer_pause, offer_reopen
from exchange.services.offer_change import (
    offer_keep_back,
    offer_still_true,
    offer_update,
    offers_pause_all,
)
from exchange.services.packet import packet_fill, packet_hand_over, packet_receive
from exchange.services.quiet_ask import quiet_ask_answer
from exchange.services.shortfall import offer_came_up_short
from exchange.services.store import store_create, store_of_kind, store_update
from exchange.services.temperature import temperature_apply, temperature_preview
from exchange.services.temperature_felt import temperature_felt
from exchange.services.wanted_cross import (
    wanted_cross_close,
    wanted_cross_create,
    wanted_cross_pause,
    wanted_cross_reopen,
)
from growers.models import Change, Grower, Plant, Taxon
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import agree
from tests.exchange.logger import confirmed, log_of, steady
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, make_pairing
from tests.factories import make_offer, make_plant, make_taxon, make_wanted_cross
from tests.growers.services.test_change import is_service, written_by

pytestmark = pytest.mark.django_db

LOG = log_of(steady(5.0), first=NOON - timedelta(hours=2), hours=2.0)

KINDS = {
    "exchange_offer": "offer",
    "exchange_carrierservice": "offer",
    "exchange_lot": "offer",
    "exchange_supply": "offer",
    "exchange_wantedcross": "wanted_cross",
    "exchange_wantedcross_pollen_plants": "wanted_cross",
    "exchange_wantedcross_pollen_taxa": "wanted_cross",
}
NOT_DEALS = {
    "growers_change",
    "exchange_assay",
    "exchange_custodyevent",
    "exchange_duetask",
    "exchange_incident",
    "exchange_lotoutlook",
    "exchange_notekey",
    "exchange_notification",
    "exchange_packet",
    "exchange_quietask",
    "exchange_shipment",
    "exchange_stay",
    "exchange_store",
    "exchange_temperatureupload",
}
WRITE = re.compile(r'^\s*(?:INSERT (?:OR IGNORE )?INTO|UPDATE|DELETE FROM) "((?:growers|exchange)_\w+)"')
CONCLUSIONS = {
    "explanation.wanted_cross_explain",
    "matching.matching_run",
    "matching.matching_reckon",
    "matching.matching_dry_run",
    "quiet_ask.quiet_asks_make",
}
"""They read offers and wanted crosses and write only what follows from them."""


OF_OFFERS = dict.fromkeys(
    (
        "carrier_service",
        "collection",
        "lot_change",
        "offer_change",
        "packet",
        "quiet_ask",
        "shortfall",
    ),
    "offer",
)
"""Modules whose services write what belongs to an offer."""

PARTS = {
    "custody_note",
    "custody_tell",
    "deed_on",
    "doses_move",
    "doses_release_some",
    "doses_reserve",
    "kept_back_set",
    "lot_begin",
    "outlooks_keep",
    "packet_back",
    "store_of_kind",
    "supply_open",
    "total_set",
}
"""They write what belongs to an offer in the transaction of a service that notes it."""

UNNOTED: dict[str, set[str]] = {
    "assay.assay_record": set(),
    "carrier_service.carrier_service_create": {"offer"},
    "incident.lot_incident": set(),
    "incident.packet_incident": set(),
    "incident.store_incident": set(),
    "lot.lot_collect": {"offer"},
    "packet.packet_receive": set(),
    "store.store_create": set(),
    "store.store_update": set(),
    "temperature.temperature_apply": set(),
    "temperature.temperature_preview": set(),
    "temperature_felt.temperature_felt": set(),
}
"""What they write of deals; no offer has more or less of its pollen after them, so none is noted."""


@dataclass
class World:
    """A grower with an open offer and an open wanted cross, asked by another for pollen of a plant more."""

    grower: Grower
    plant: Plant
    taxon: Taxon
    offer: Offer
    wanted: WantedCross
    ask: QuietAsk
    lot: Lot
    drying: Lot
    way: Packet
    chest: Store
    elsewhere: Store
    counter: CarrierService

    @property
    def offered(self) -> dict[str, Any]:
        return {"actor": self.grower, "offer": self.offer}

    @property
    def held(self) -> dict[str, Any]:
        return {"actor": self.grower, "lot": self.lot}

    @property
    def dries(self) -> dict[str, Any]:
        return {"actor": self.grower, "lot": self.drying}

    @property
    def asked(self) -> dict[str, Any]:
        return {"actor": self.grower, "wanted_cross": self.wanted}


@pytest.fixture
def world(donor: Grower, recipient: Grower, clock: MovableClock) -> World:
    clock.set(datetime(2027, 7, 1, 12, tzinfo=UTC))
    grower_update(actor=donor, may_be_asked=True)
    plant, wish = make_plant(donor), make_wanted_cross(make_plant(recipient), flowers=4)
    ask = QuietAsk.objects.create(plant=make_plant(donor), wanted_cross=wish)
    given = make_offer(plant, doses=6)
    lot = collected(given, 3, date(2027, 6, 20))
    agreement = agree(make_pairing(given, wish), doses=2)
    way = packet_hand_over(
        actor=donor, packet=packet_fill(actor=donor, lot=lot, doses=1, agreement=agreement)
    )
    counter = carrier_service_create(actor=donor, name="counter", country="FR")
    return World(
        grower=donor,
        plant=plant,
        taxon=make_taxon(),
        offer=make_offer(plant, carrier_service=counter),
        wanted=make_wanted_cross(plant),
        ask=ask,
        lot=lot,
        drying=collected(given, 1, date(2027, 7, 1)),
        way=way,
        chest=store_of_kind(donor, "chest_freezer"),
        elsewhere=store_of_kind(recipient, "refrigerator"),
        counter=counter,
    )


def collected(offer: Offer, doses: int, collected_on: date) -> Lot:
    """A lot of an offer."""
    return offer_collect(
        actor=offer.plant.grower,
        offer=offer,
        doses=doses,
        collected_on=collected_on,
        store="refrigerator",
    )


Scenario = Callable[[World], object]

SCENARIOS: dict[str, Scenario] = {
    "carrier_service.carrier_service_create": lambda w: carrier_service_create(
        actor=w.grower, name="locker", country="FR"
    ),
    "carrier_service.carrier_service_update": lambda w: carrier_service_update(
        actor=w.grower, service=w.counter, cut_off=time(15)
    ),
    "carrier_service.carrier_service_remove": lambda w: carrier_service_remove(
        actor=w.grower, service=w.counter
    ),
    "offer.offer_create": lambda w: offer_create(actor=w.grower, plant=w.plant, treatment="fresh", doses=1),
    "offer.offer_in_hand_create": lambda w: offer_in_hand_create(
        actor=w.grower,
        plant=w.plant,
        collected_on=date(2027, 6, 20),
        store="refrigerator",
        treatment="dried",
        doses=1,
    ),
    "offer.offer_pause": lambda w: offer_pause(**w.offered),
    "offer.offer_reopen": lambda w: offer_reopen(**w.offered),
    "offer.offer_close": lambda w: offer_close(**w.offered),
    "collection.offer_collect": lambda w: offer_collect(
        actor=w.grower, offer=w.offer, doses=2, collected_on=date(2027, 6, 20), store="refrigerator"
    ),
    "offer_change.offer_update": lambda w: offer_update(**w.offered, note="in June", doses=5),
    "offer_change.offer_still_true": lambda w: offer_still_true(**w.offered),
    "offer_change.offer_keep_back": lambda w: offer_keep_back(**w.offered, doses=1),
    "offer_change.offers_pause_all": lambda w: offers_pause_all(actor=w.grower),
    "shortfall.offer_came_up_short": lambda w: offer_came_up_short(actor=w.grower, offer=w.offer, doses=1),
    "quiet_ask.quiet_ask_answer": lambda w: quiet_ask_answer(
        actor=w.grower, ask=w.ask, answer="yes", treatment="dried", doses=2
    ),
    "lot.lot_collect": lambda w: lot_collect(actor=w.grower, plant=w.plant, flowers_emptied=2, note="windy"),
    "lot_change.lot_dried": lambda w: lot_dried(**w.dries),
    "lot_change.lot_move": lambda w: lot_move(**w.held, store=w.chest),
    "lot_change.lot_put_in_fluid": lambda w: lot_put_in_fluid(**w.dries),
    "lot_change.lot_use_up": lambda w: lot_use_up(**w.dries),
    "lot_change.lot_discard": lambda w: lot_discard(**w.dries),
    "lot_change.lot_correct": lambda w: lot_correct(**w.held, flowers_emptied=3),
    "packet.packet_fill": lambda w: packet_fill(**w.held, doses=1),
    "packet.packet_hand_over": lambda w: packet_hand_over(
        actor=w.grower, packet=packet_fill(**w.held, doses=1)
    ),
    "packet.packet_receive": lambda w: packet_receive(
        actor=w.elsewhere.grower, packet=w.way, store=w.elsewhere
    ),
    "assay.assay_record": lambda w: assay_record(
        **w.held, counts=Counts("in_vitro", "5 % sucrose", "tube", [(30, 100)], rehydrated=True)
    ),
    "incident.lot_incident": lambda w: lot_incident(**w.held, happened=WhatHappened("left_out", hours=2)),
    "incident.packet_incident": lambda w: packet_incident(
        actor=w.grower, packet=w.way, happened=WhatHappened("got_damp")
    ),
    "incident.store_incident": lambda w: store_incident(
        actor=w.grower, store=w.lot.store, happened=WhatHappened("switched_off", hours=5)
    ),
    "store.store_create": lambda w: store_create(actor=w.grower, name="cellar", kind="refrigerator"),
    "store.store_update": lambda w: store_update(actor=w.grower, store=w.lot.store, temperature_c=6.0),
    "temperature.temperature_apply": lambda w: temperature_apply(
        **w.held, content=LOG, choices=confirmed(LOG)
    ),
    "temperature.temperature_preview": lambda w: temperature_preview(**w.held, content=LOG),
    "temperature_felt.temperature_felt": lambda w: temperature_felt(
        **w.held, felt="warm", began_at=NOON - timedelta(hours=2), ended_at=NOON
    ),
    "wanted_cross.wanted_cross_create": lambda w: wanted_cross_create(
        actor=w.grower, seed_parent=w.plant, pollen_plants=[w.plant], pollen_taxa=[w.taxon]
    ),
    "wanted_cross.wanted_cross_pause": lambda w: wanted_cross_pause(**w.asked),
    "wanted_cross.wanted_cross_reopen": lambda w: wanted_cross_reopen(**w.asked),
    "wanted_cross.wanted_cross_close": lambda w: wanted_cross_close(**w.asked),
}
"""One call that writes, of every service."""


# --- what counts as a service ---


def modules() -> Iterator[ModuleType]:
    """The modules of services that know a deal by its model."""
    for found in pkgutil.iter_modules(services.__path__):
        module = importlib.import_module(f"exchange.services.{found.name}")
        if any(model in vars(module).values() for model in (Offer, Lot, WantedCross)):
            yield module


def functions() -> Iterator[tuple[str, Callable[..., object]]]:
    """Every public function of these modules by a short name."""
    for module in modules():
        for name, member in inspect.getmembers(module, inspect.isfunction):
            own = member.__module__ == module.__name__ and name not in PARTS
            if own and not name.startswith("_"):
                yield f"{module.__name__.rpartition('.')[2]}.{name}", member


def test_every_service_is_walked() -> None:
    found = {name for name, function in functions() if is_service(function)}
    assert found == set(SCENARIOS) | CONCLUSIONS


def test_what_is_not_walked_does_not_write() -> None:
    parts = {name: function for name, function in functions() if not is_service(function)}
    assert {name for name, function in parts.items() if written_by(function)} == set()


def test_no_conclusion_is_drawn_by_writing_deals() -> None:
    (module,) = (module for module in modules() if module.__name__.endswith(".matching"))
    tree = ast.parse(inspect.getsource(module))
    managers = [node for node in ast.walk(tree) if isinstance(node, ast.Attribute) and node.attr == "objects"]
    assert {node.value.id for node in managers if isinstance(node.value, ast.Name)} <= {
        "MatchingRun",
        "Pairing",
    }


# --- what they wrote and noted ---


@dataclass
class Log:
    """Kinds of deals written by SQL, and those noted."""

    written: set[str] = field(default_factory=set)
    noted: set[str] = field(default_factory=set)

    def __call__(self, execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        table = WRITE.match(sql)
        if table and table[1] not in NOT_DEALS:
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
    module = name.partition(".")[0]
    assert log.written == UNNOTED.get(name, {OF_OFFERS.get(module, module)})
    assert log.noted == (set() if name in UNNOTED else log.written)


@pytest.mark.parametrize("name", sorted(SCENARIOS.keys() - UNNOTED.keys()))
def test_a_deal_whose_note_fails_is_not_kept(
    name: str, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("no room for a note")

    before = rows()
    monkeypatch.setattr(Change.objects, "bulk_create", fails)
    with pytest.raises(RuntimeError, match="no room for a note"):
        SCENARIOS[name](world)
    assert rows() == before


def test_the_walk_sees_a_write_without_a_note(world: World) -> None:
    with logged() as log:
        Offer.objects.filter(pk=world.offer.pk).update(doses=9)
        world.wanted.pollen_taxa.add(world.taxon)
    assert (log.written, log.noted) == ({"offer", "wanted_cross"}, set())
