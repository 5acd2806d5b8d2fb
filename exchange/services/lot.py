"""Collecting: a lot comes into the world with a code, a store, a history and a count of its doses."""

from datetime import date
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import CustodyEvent, Lot, Stay, Store, Supply
from exchange.models.offer import Treatment
from exchange.selectors.lot_time import cut_at
from exchange.services.custody import custody_note, note_check
from exchange.services.outlook import outlook_renew, outlooks_renew_later
from exchange.services.store import own_store, store_of_kind
from exchange.services.supply import supply_open
from growers import clock
from growers.errors import NotFound
from growers.models import Grower, Plant
from growers.models.taxon import Fertility
from growers.services.plant import own_plant
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

RANGES: dict[str, tuple[float, float]] = {
    "flowers_emptied": (1, 200),
    "flower_day": (1, 7),
    "collected_hour": (0, 23),
    "doses": (1, 999),
}


class LotFields(TypedDict, total=False):
    """What a grower says of a lot; all but the flowers may be left unstated."""

    flowers_emptied: int
    flower_day: int | None
    collected_on: date
    collected_hour: int | None
    netted_before_opening: bool | None
    treatment: str
    doses: int


def lot_collect(
    *,
    actor: Grower,
    plant: Plant,
    store: Store | None = None,
    note: str = "",
    **fields: Unpack[LotFields],
) -> Lot:
    """Note pollen collected of one's own plant, for oneself or to be offered later.

    Today, dried, in the refrigerator, one dose a flower unless stated. Raises ``NotFound`` for a plant or a
    store of another, ``InvalidInput`` for what does not fit.
    """
    with transaction.atomic():
        own = own_plant(actor, plant)
        lot = Lot(plant=own, collected_on=clock.today(own.site.cell_zone), treatment=Treatment.DRIED)
        fields_set(lot, fields, LotFields.__annotations__)
        if "doses" not in fields:
            lot.doses = lot.flowers_emptied or 1
        lot.store = _store(actor, lot, store)
        _check(lot, note)
        lot_begin(lot, actor=actor, note=note)
    outlook_renew(lot)
    return lot


def lot_begin(lot: Lot, *, actor: Grower, note: str = "") -> Supply:
    """Save a checked lot with its stay, its first event and its supply; in a transaction."""
    now = clock.now()
    lot.collected_by, lot.changed_at = actor, now
    began = min(cut_at(lot), now)
    dries = lot.treatment == Treatment.DRIED and lot.dried_at is None
    lot.state = Lot.State.DRYING if dries and lot.collected_on == _today(lot) else Lot.State.STORED
    lot.save()
    Stay.objects.create(lot=lot, store=lot.store, since=began)
    custody_note(
        lot,
        CustodyEvent.Kind.COLLECTED,
        actor=actor,
        now=now,
        occurred_at=began,
        note=note,
        flowers=lot.flowers_emptied,
        doses=lot.doses,
        treatment=lot.treatment,
        store=lot.store.kind,
    )
    outlooks_renew_later([lot], now)
    return supply_open(lot=lot, total=lot.doses)


def treatment_fits_check(treatment: str, kind: str, problems: Problems) -> None:
    """Note a store that pollen of this treatment cannot lie in."""
    freezes = kind != Store.Kind.REFRIGERATOR
    if freezes and treatment != Treatment.FROZEN:
        problems.add("store", kind, "refrigerator; only dried pollen may be frozen, treatment frozen")
    if not freezes and treatment == Treatment.FROZEN:
        problems.add("store", kind, "freezer for pollen with treatment frozen")


def own_lot(actor: Grower, lot: Lot) -> Lot:
    """The locked row of a lot of the actor's plant, with plant, site, store and offer; to others none."""
    rows = Lot.objects.select_for_update(of=("self",)).filter(pk=lot.pk, plant__grower=actor)
    own = rows.select_related("plant__site", "plant__grower", "store", "offer").first()
    if own is None:
        raise NotFound("There is no such lot.")
    return own


def _store(actor: Grower, lot: Lot, store: Store | None) -> Store:
    if store is not None:
        return own_store(actor, store)
    frozen = lot.treatment == Treatment.FROZEN
    return store_of_kind(actor, Store.Kind.FREEZER if frozen else Store.Kind.REFRIGERATOR)


def lot_facts_check(lot: Lot, problems: Problems) -> None:
    """Note what cannot be of what was said of the collecting."""
    columns_check(lot, problems, ranges=RANGES, names=LotFields.__annotations__)
    if lot.collected_on > _today(lot):
        problems.add("collected_on", lot.collected_on, f"a day up to today, {_today(lot)}")
    elif not problems.has("collected_hour") and cut_at(lot) > clock.now():
        problems.add("collected_hour", lot.collected_hour, "an hour that has begun, on the plant's clock")


def _check(lot: Lot, note: str) -> None:
    problems = Problems()
    lot_facts_check(lot, problems)
    if lot.flowers_emptied is None:
        problems.add("flowers_emptied", None, "whole numbers from 1 to 200")
    if lot.plant.pollen_fertility == Fertility.NO:
        problems.add("plant", lot.plant.name_as_grown, "a plant with working pollen")
    if not problems.has("treatment"):
        treatment_fits_check(lot.treatment, lot.store.kind, problems)
    note_check(note, problems)
    problems.refuse_if_any()


def _today(lot: Lot) -> date:
    return clock.today(lot.plant.site.cell_zone)
