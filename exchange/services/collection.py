"""Collecting in bloom: a lot comes out of an on-request offer, and promised doses go over to it."""

from datetime import date, datetime

from django.db import transaction

from exchange.models import AgreementEvent, Lot, Offer, Reservation, Supply
from exchange.services.agreement_event import event_note
from exchange.services.deal import announce, offer_lock
from exchange.services.lot import lot_begin
from exchange.services.offer import lot_check
from exchange.services.outlook import outlook_renew
from exchange.services.store import store_of_kind
from exchange.services.supply import doses_move, total_set
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.problem import Problems

MOST_DOSES = 999


def offer_collect(*, actor: Grower, offer: Offer, doses: int, collected_on: date, store: str) -> Lot:
    """Note a lot collected for one's own on-request offer; its doses are no longer to be collected.

    Reservations go over to the lot, the earliest agreed first, as far as they fit whole. More may be
    collected than was offered. Raises ``NotFound`` for others, ``Conflict`` for an offer in hand or closed,
    ``InvalidInput`` for a day in the future or a store that does not fit.
    """
    with transaction.atomic():
        if offer.plant.grower_id != actor.pk:
            raise NotFound("There is no such offer.")
        supplies = offer_lock(offer)
        origin = next((supply for supply in supplies if supply.lot_id is None), None)
        if origin is None or offer.state == "closed":
            raise Conflict("Pollen is collected for an open offer on request; this is none.")
        lot = Lot(
            plant=offer.plant,
            offer=offer,
            collected_on=collected_on,
            treatment=offer.treatment,
            doses=doses,
        )
        _check(lot, store, offer)
        lot.store = store_of_kind(actor, store)
        target = lot_begin(lot, actor=actor)
        _move(origin, target, actor)
        total_set(origin, max(origin.total - doses, origin.kept_back + origin.reserved + origin.sent))
        announce(offer)
    outlook_renew(lot)
    return lot


def _check(lot: Lot, store: str, offer: Offer) -> None:
    problems = Problems()
    if not 1 <= lot.doses <= MOST_DOSES:
        problems.add("doses", lot.doses, f"whole numbers from 1 to {MOST_DOSES}")
    lot_check(lot.collected_on, store, offer, problems)
    problems.refuse_if_any()


def _move(origin: Supply, target: Supply, actor: Grower) -> None:
    now = clock.now()
    for reservation in _promised(origin):
        if reservation.doses <= target.left:
            doses_move(origin, target, reservation, now)
            _tell(reservation, actor, now)


def _promised(supply: Supply) -> list[Reservation]:
    rows = supply.reservations.filter(state=Reservation.State.ACTIVE)
    related = rows.select_related("agreement__donor", "agreement__recipient")
    return list(related.order_by("agreement__agreed_at", "pk"))


def _tell(reservation: Reservation, actor: Grower, now: datetime) -> None:
    agreement = reservation.agreement
    agreement.changed_at = now
    agreement.save(update_fields=["changed_at"])
    event_note(agreement, AgreementEvent.Kind.COLLECTED, actor=actor, now=now, doses=reservation.doses)
