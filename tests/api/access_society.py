"""A society for the access matrix: whatever only some of its members may know is recognised by its text."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.apps import apps
from django.db import connection, models

from exchange.api.v1.matching_run_form import LOSS, PRICE, REPORT_ROW
from exchange.models import ApiToken, MatchingOrder, Notification, Pairing, WebhookDelivery
from exchange.services.calendar_feed import feed_create
from exchange.services.coordinator import coordinator_grant
from exchange.services.notification import pairings_tell
from exchange.services.offer import OfferFields
from exchange.services.wanted_cross import wanted_cross_close
from growers.models import Grower
from growers.services.bloom import bloom_bud_seen, bloom_said_set
from growers.services.weather import weather_day_set
from tests.api.access_deal import (
    DEAL_ID_READERS,
    DEAL_READERS,
    TERMS,
    make_bargains,
    make_encounters,
)
from tests.api.access_gathering import GATHERING_ID_READERS, GATHERING_READERS, make_gatherings
from tests.api.access_lot import LOT_ID_READERS, LOT_READERS, make_lots
from tests.api.access_member import (
    MEMBERS,
    PLACES,
    asked_for,
    handle,
    make_member,
    mark,
    plant_of,
    private,
    reasons_for,
    seed_of,
)
from tests.api.caller import PASSWORD, Caller, caller
from tests.exchange.receiver import make_webhook
from tests.exchange.society import SECRET_NAME, SUMMER, make_groups, make_pairing, make_run
from tests.factories import make_offer_in_hand, make_season, make_taxon, make_wanted_cross

FIRST_KEY = 731_900_001
"""Integer keys of the society's rows begin here, so that one in an answer is seen."""

COUNTRIES_TOLD = ("DE", "IT")
SHOWN_NUMBER = "12"
"""A plant's, in the tables that the document shows."""

COUNTRY = '"CH"'
"""The owner's, told to whoever both have said yes with: an importer must know which authority to ask."""

HOOK = "https://hooks.example/known-to-the-owner"
OWNERS_SEED = "Dawn over the hidden pond"
EX_PARTNERS_SEED = "Night over the hidden pond"


@dataclass(frozen=True)
class Secret:
    """A text, and the viewers in whose answers it may stand."""

    text: str
    readers: frozenset[str]


@dataclass(frozen=True)
class Society:
    """Ids of rows by name, clients by viewer, and what must not be told."""

    ids: dict[str, str]
    clients: dict[str, Caller]
    secrets: tuple[Secret, ...]


def make_society() -> Society:
    """The society; the clock must stand at noon of the tests of the exchange."""
    keys_recognisable()
    make_groups()
    growers = {who: make_member(who) for who in MEMBERS}
    coordinator_grant(handle=growers["coordinator"].handle)
    clients = {"anonymous": Caller(), **{who: caller(growers[who]) for who in MEMBERS}}
    for client in clients.values():
        client.get("me")  # the first use of a token is noted
    rows = deals(growers, facts(growers["owner"]))
    rows |= sent_out(growers["owner"], rows["notification"])
    rows["token"] = ApiToken.objects.get(user=growers["owner"])
    rows["calendar_feed"] = feed_create(actor=growers["owner"], name="balcony").feed
    rows |= rounds(growers["coordinator"], growers["partner"])
    rows |= make_encounters(growers, rows["taxon"], rows["seed"])
    rows |= make_lots(growers, rows["offer"], rows["agreement"], rows["seed"])
    rows |= make_gatherings(growers, rows["offer"], rows["agreement"])
    ids = {name: str(row.public_id) for name, row in rows.items()}
    told = {"email": str(growers["owner"].email), "password": PASSWORD}
    told |= {"other_term": rows["offer"].terms[1]["key"], "bystander": handle("bystander")}
    return Society(ids | told, clients, tuple(secrets(growers, ids)))


def facts(owner: Grower) -> dict[str, Any]:
    """Everything of a site and a plant that can be on record."""
    taxon = make_taxon()
    plant = plant_of(owner, "owner", name_as_grown="'Ferry'", taxon=taxon)
    family = {"seed_parent": plant, "pollen_parent": plant}
    seed = plant_of(owner, "owner", name_as_grown=OWNERS_SEED, number=SHOWN_NUMBER, **family)
    weather_day_set(actor=owner, site=plant.site, measured_on=date(2027, 6, 1), water_c=21.4)
    bloom_said_set(actor=owner, plant=plant, **SUMMER)
    season = make_season(plant, date(2025, 6, 8), date(2025, 9, 12))
    bloom_bud_seen(actor=owner, plant=plant, seen_on=date(2027, 5, 20), bud_stage="at the surface")
    return {"taxon": taxon, "site": plant.site, "plant": plant, "seed": seed, "season": season}


def deals(growers: dict[str, Grower], rows: dict[str, Any]) -> dict[str, Any]:
    """An offer of the owner with one pairing that stands and one that did; and what the owner looks for."""
    note = private("owner", "Note")
    stated: OfferFields = {"doses": 16, "countries": COUNTRIES_TOLD, "note": note, "terms": TERMS}
    offer = make_offer_in_hand(rows["plant"], date(2027, 6, 28), **stated)
    wanted = make_wanted_cross(
        rows["seed"],
        pollen_plants=[rows["plant"]],
        pollen_taxa=[rows["taxon"]],
        pollen_groups=["lotos"],
        traits=["scented"],
        note=note,
    )
    seeds = {who: seed_of(growers[who], who, name) for who, name in SEEDS.items()}
    asked = {who: asked_for(seed, who) for who, seed in seeds.items()}
    pairing, old = (make_pairing(offer, asked[who], reasons=reasons_for(name)) for who, name in SEEDS.items())
    pairings_tell(fresh=[pairing], gone=[])
    told = Notification.objects.get(grower=growers["owner"])
    bargains = make_bargains(growers, pairing, old)
    Pairing.objects.filter(pk=old.pk).update(state=Pairing.State.SUPERSEDED)
    wanted_cross_close(actor=growers["ex_partner"], wanted_cross=asked["ex_partner"])
    shown = {"pairing": pairing, "old_pairing": old, "notification": told}
    theirs = {"partners_wanted": asked["partner"], "partners_seed": asked["partner"].seed_parent}
    return {**rows, **bargains, "offer": offer, "wanted": wanted, **shown, **theirs}


def sent_out(owner: Grower, told: Notification) -> dict[str, Any]:
    """An address of the owner's, and what was sent to it."""
    webhook = make_webhook(owner, HOOK)
    delivery = WebhookDelivery.objects.create(webhook=webhook, notification=told)
    return {"webhook": webhook, "delivery": delivery}


SEEDS = {"partner": SECRET_NAME, "ex_partner": EX_PARTNERS_SEED}


def rounds(coordinator: Grower, loser: Grower) -> dict[str, Any]:
    """A matching run with its report, and the order that it came from."""
    losers = [{**LOSS, "grower": str(loser.public_id)}]
    run = make_run(report={"rows": [REPORT_ROW], "losers": losers, "price": PRICE})
    order = MatchingOrder.objects.create(
        ordered_by=coordinator, rule=run.rule, state=MatchingOrder.State.DONE, run=run
    )
    return {"run": run, "order": order}


def secrets(growers: dict[str, Grower], ids: dict[str, str]) -> Iterator[Secret]:
    """What must not be told, and to whom it may."""
    for who in MEMBERS:
        yield Secret(mark(who), frozenset({who}))
        yield Secret(str(growers[who].email), frozenset({who}))
        yield Secret(str(growers[who].public_id), frozenset({who}))
    for who, place in PLACES.items():
        for angle in (place["latitude_deg"], place["longitude_deg"]):
            yield Secret(f"{angle:.6f}"[:6], frozenset({who}))
    for text, readers in {**READERS, **{ids[name]: readers for name, readers in ID_READERS.items()}}.items():
        yield Secret(text, frozenset(readers.split()))


READERS = {
    **DEAL_READERS,
    **LOT_READERS,
    **GATHERING_READERS,
    "Ferry": "partner ex_partner coordinator owner",
    handle("owner"): "partner ex_partner coordinator owner",
    handle("partner"): "partner coordinator owner",
    handle("ex_partner"): "ex_partner owner",
    handle("outsider"): "outsider",
    handle("coordinator"): "partner coordinator owner",
    SECRET_NAME.strip("'"): "partner coordinator",
    EX_PARTNERS_SEED: "ex_partner owner",
    OWNERS_SEED: "owner coordinator",
    COUNTRY: "partner ex_partner coordinator owner",
    "Europe/Zurich": "owner",
    HOOK: "owner",
}
ID_READERS = {
    **DEAL_ID_READERS,
    **LOT_ID_READERS,
    **GATHERING_ID_READERS,
    "site": "owner",
    "plant": "partner ex_partner owner",
    "seed": "owner",
    "season": "owner",
    "token": "owner",
    "webhook": "owner",
    "delivery": "owner",
    "calendar_feed": "owner",
    "offer": "partner ex_partner coordinator owner",
    "wanted": "coordinator owner",
    "pairing": "partner owner",
    "old_pairing": "ex_partner owner",
    "notification": "owner",
    "partners_wanted": "partner coordinator",
    "partners_seed": "partner",
    "run": "coordinator",
    "order": "coordinator",
}
"""By the name of the row."""


def keys_recognisable() -> None:
    """Let the integer keys of all new rows begin at ``FIRST_KEY``."""
    for model in apps.get_models(include_auto_created=True):
        if isinstance(model._meta.pk, models.AutoField | models.BigAutoField):
            _key_next(model._meta.db_table, str(model._meta.pk.column))


def _key_next(table: str, column: str) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s), %s)", [table, column, FIRST_KEY])
        else:
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
            cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, FIRST_KEY])
