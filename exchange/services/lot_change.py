"""What happens to a lot in its store: dried, moved, put in fluid, used up, discarded, put right."""

from datetime import datetime
from typing import Any, Unpack

from exchange.models import CustodyEvent, Lot, Stay, Store, Supply
from exchange.models.offer import Treatment
from exchange.selectors.lot_time import cut_at
from exchange.services.custody import custody_note
from exchange.services.lot import LotFields, lot_facts_check
from exchange.services.lot_acting import Deed, deed_on
from exchange.services.state_table import state_after
from exchange.services.store import own_store
from exchange.services.supply import kept_back_set, total_set
from growers.errors import Conflict
from growers.models import Grower
from growers.services.row import fields_set

Kind = CustodyEvent.Kind
State = Lot.State

ALLOWED: dict[str, frozenset[str]] = {
    State.DRYING: frozenset({State.STORED, State.IN_FLUID, State.USED_UP, State.DISCARDED}),
    State.STORED: frozenset({State.IN_FLUID, State.USED_UP, State.DISCARDED}),
    State.IN_FLUID: frozenset({State.USED_UP, State.DISCARDED}),
    State.USED_UP: frozenset(),
    State.DISCARDED: frozenset(),
}
CORRIGIBLE = ("flowers_emptied", "flower_day", "collected_on", "collected_hour", "netted_before_opening")


def lot_dried(*, actor: Grower, lot: Lot, occurred_at: datetime | None = None, note: str = "") -> Lot:
    """Say that a lot is dry and lies in its store."""
    with deed_on(lot, actor=actor, occurred_at=occurred_at, note=note) as deed:
        _state_set(deed, State.STORED)
        deed.lot.dried_at = deed.at
        deed.noted(Kind.DRIED)
    return deed.lot


def lot_move(
    *, actor: Grower, lot: Lot, store: Store, occurred_at: datetime | None = None, note: str = ""
) -> Lot:
    """Move a lot to another store of one's own; a dried one that goes into a freezer is frozen from then on.

    Undried pollen in a freezer is noted, not refused: it happened, and makes the lot doubtful.
    """
    with deed_on(lot, actor=actor, occurred_at=occurred_at, note=note) as deed:
        target = own_store(actor, store)
        _movable_check(deed, target)
        stay = Stay.objects.get(lot=deed.lot, packet=None, until=None)
        if deed.at < stay.since:
            deed.problems.add("occurred_at", deed.at.isoformat(), f"after it came there, {stay.since}")
        deed.problems.refuse_if_any()
        stay.until = deed.at
        stay.save(update_fields=["until"])
        Stay.objects.create(lot=deed.lot, store=target, since=deed.at)
        before, deed.lot.store = deed.lot.store, target
        if target.freezes and deed.lot.treatment == Treatment.DRIED:
            deed.lot.treatment = Treatment.FROZEN
        deed.noted(Kind.MOVED, origin=before.kind, store=target.kind)
    return deed.lot


def lot_put_in_fluid(*, actor: Grower, lot: Lot, occurred_at: datetime | None = None, note: str = "") -> Lot:
    """Say that the pollen is in stigmatic fluid: it lives for hours and cannot be posted any more."""
    with deed_on(lot, actor=actor, occurred_at=occurred_at, note=note) as deed:
        _unpromised_only(deed)
        _state_set(deed, State.IN_FLUID)
        deed.noted(Kind.PUT_IN_FLUID)
    return deed.lot


def lot_use_up(*, actor: Grower, lot: Lot, occurred_at: datetime | None = None, note: str = "") -> Lot:
    """Say that nothing of a lot is left; ``Conflict`` while doses of it are promised."""
    return _end(lot, State.USED_UP, Kind.USED_UP, actor=actor, occurred_at=occurred_at, note=note)


def lot_discard(*, actor: Grower, lot: Lot, occurred_at: datetime | None = None, note: str = "") -> Lot:
    """Throw a lot away; only a person does that, no date does. ``Conflict`` while doses are promised."""
    return _end(lot, State.DISCARDED, Kind.DISCARDED, actor=actor, occurred_at=occurred_at, note=note)


def lot_correct(*, actor: Grower, lot: Lot, note: str = "", **fields: Unpack[LotFields]) -> Lot:
    """Put right what was said of the collecting; the history keeps what it was before."""
    with deed_on(lot, actor=actor, note=note) as deed:
        before = {name: getattr(deed.lot, name) for name in fields}
        fields_set(deed.lot, fields, CORRIGIBLE)
        lot_facts_check(deed.lot, deed.problems)
        deed.problems.refuse_if_any()
        changed = {name: was for name, was in before.items() if getattr(deed.lot, name) != was}
        if not changed:
            raise Conflict("Nothing of that is different from what is on record.")
        first = Stay.objects.filter(lot=deed.lot, packet=None).order_by("since", "pk")[0]
        first.since = min(cut_at(deed.lot), first.until or deed.now, deed.now)
        first.save(update_fields=["since"])
        _correction(deed, changed)
    return deed.lot


def _correction(deed: Deed, changed: dict[str, Any]) -> None:
    custody_note(
        deed.lot,
        Kind.CORRECTED,
        actor=deed.actor,
        now=deed.now,
        corrects=deed.lot.events.get(kind=Kind.COLLECTED),
        note=deed.note,
        before={name: _plain(was) for name, was in changed.items()},
        after={name: _plain(getattr(deed.lot, name)) for name in changed},
    )


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value


def _end(
    lot: Lot,
    state: Lot.State,
    kind: CustodyEvent.Kind,
    *,
    actor: Grower,
    occurred_at: datetime | None,
    note: str,
) -> Lot:
    with deed_on(lot, actor=actor, occurred_at=occurred_at, note=note) as deed:
        supply = _unpromised_only(deed)
        _state_set(deed, state)
        kept_back_set(supply, 0)
        total_set(supply, supply.sent)
        deed.noted(kind)
    return deed.lot


def _state_set(deed: Deed, state: Lot.State) -> None:
    deed.lot.state = state_after(ALLOWED, deed.lot.state, state, what="lot")


def _movable_check(deed: Deed, target: Store) -> None:
    if deed.lot.state == State.IN_FLUID:
        raise Conflict("Pollen in fluid lives for hours; it is not stored.")
    if deed.lot.state == State.DRYING and target.freezes:
        raise Conflict("The lot is drying; say that it is dry, then freeze it.")
    if target.pk == deed.lot.store_id:
        raise Conflict(f"The lot lies in {target.name} already.")


def _unpromised_only(deed: Deed) -> Supply:
    supply = Supply.objects.select_for_update().get(lot=deed.lot)
    if supply.reserved:
        raise Conflict(
            f"{supply.reserved} of its doses are promised; say first that the offer came up short."
        )
    return supply
