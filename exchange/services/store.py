"""Stores of a grower: a refrigerator, a freezer; each has a name of its own."""

from typing import TypedDict, Unpack

from django.db import IntegrityError, transaction

from exchange.models import Lot, Store
from exchange.services.outlook import outlooks_renew_later
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

COLDEST_C, WARMEST_C = -90.0, 30.0
RANGES = {"temperature_c": (COLDEST_C, WARMEST_C)}


class StoreFields(TypedDict, total=False):
    """What a grower says of a store."""

    name: str
    kind: str
    temperature_c: float | None


def store_create(*, actor: Grower, **fields: Unpack[StoreFields]) -> Store:
    """Add a store of one's own; ``Conflict`` if one has that name."""
    return _write(Store(grower=open_grower(actor)), fields)


def store_update(*, actor: Grower, store: Store, **fields: Unpack[StoreFields]) -> Store:
    """Say anew how a store is called or how cold it is; the dates of all that lies in it follow."""
    own = own_store(actor, store)
    if fields.get("kind", own.kind) != own.kind:
        raise Conflict("A store stays what it is; add another and move the lots.")
    with transaction.atomic():
        saved = _write(own, fields)
        outlooks_renew_later(Lot.objects.filter(store=saved), clock.now())
    return saved


def own_store(actor: Grower, store: Store) -> Store:
    """A store of the actor's; to others there is none."""
    own = Store.objects.filter(pk=store.pk, grower=actor).first()
    if own is None:
        raise NotFound("There is no such store.")
    return own


def store_of_kind(actor: Grower, kind: str) -> Store:
    """The first store of this kind that the actor has; one of that name is made where there is none."""
    own = Store.objects.filter(grower=actor, kind=kind).order_by("pk").first()
    if own is not None:
        return own
    made, _ = Store.objects.get_or_create(grower=actor, name=kind.replace("_", " "), defaults={"kind": kind})
    return made


def _write(store: Store, fields: StoreFields) -> Store:
    problems = Problems()
    fields_set(store, fields, StoreFields.__annotations__)
    columns_check(store, problems, ranges=RANGES, names=StoreFields.__annotations__)
    if store.kind == Store.Kind.REFRIGERATOR and (store.temperature_c or 0.0) < 0.0:
        problems.add("temperature_c", store.temperature_c, "0 °C or more; what is colder is a freezer")
    if store.kind in Store.Kind.values and store.freezes and (store.temperature_c or 0.0) > 0.0:
        problems.add("temperature_c", store.temperature_c, "0 °C or less; what is warmer is a refrigerator")
    problems.refuse_if_any()
    try:
        with transaction.atomic():
            store.save()
    except IntegrityError as error:
        raise Conflict(f"You have a store called {store.name}.") from error
    return store
