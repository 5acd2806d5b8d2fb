"""Rules of parcels: which state follows which, and how one that was not dispatched is called off."""

from datetime import datetime

from exchange.models import Shipment
from exchange.services.state_table import state_after

State = Shipment.State

ALLOWED: dict[str, frozenset[str]] = {
    State.PLANNED: frozenset({State.PACKED, State.DISPATCHED, State.CALLED_OFF}),
    State.PACKED: frozenset({State.DISPATCHED, State.CALLED_OFF}),
    State.CALLED_OFF: frozenset(),
    State.DISPATCHED: frozenset({State.HELD, State.RECEIVED, State.REFUSED, State.LOST, State.RETURNED}),
    State.HELD: frozenset({State.RECEIVED, State.REFUSED, State.LOST, State.RETURNED}),
    State.RECEIVED: frozenset(),
    State.REFUSED: frozenset({State.RETURNED}),
    State.LOST: frozenset({State.RECEIVED, State.RETURNED}),
    State.RETURNED: frozenset(),
}


def parcel_state_set(shipment: Shipment, state: Shipment.State) -> None:
    """Let a parcel go on to a state that may follow; ``Conflict`` if it may not. Nothing is saved."""
    shipment.state = state_after(ALLOWED, shipment.state, state, what="parcel")


def parcel_call_off(shipment: Shipment, now: datetime) -> None:
    """End a parcel that was not dispatched, in a transaction; its packets can go into another."""
    parcel_state_set(shipment, State.CALLED_OFF)
    shipment.ended_at = shipment.changed_at = now
    shipment.packets.update(shipment=None)
    shipment.save()
