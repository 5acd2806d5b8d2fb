"""The only writer of doses: a reservation and the counter it changes are written together, under a lock.

Whoever changes doses of an offer first locks all its supplies, in the order of their ids, and locks
agreements after that: nobody waits for another in a ring.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import Q

from exchange.models import Agreement, Lot, Offer, Reservation, Supply
from growers.errors import Conflict, FieldProblem, InvalidInput

State = Reservation.State


class DosesShort(Conflict):
    """Fewer doses are left than are asked for; ``left`` says how many.

    ``elsewhere`` names a pairing with the next donor, for the eyes of the recipient alone.
    """

    code = "doses_short"

    def __init__(self, wanted: int, left: int, *, elsewhere: str = "") -> None:
        words = f"{left} {'is' if left == 1 else 'are'} left" if left else "none is left"
        detail = f"{wanted} {'dose is' if wanted == 1 else 'doses are'} asked for and {words}."
        problems = [FieldProblem("/doses", self.code, detail, str(wanted), str(left))]
        if elsewhere:
            hint = "Another donor could send pollen: see that pairing."
            problems.append(FieldProblem("/pairing_id", "next_donor", hint, allowed=elsewhere))
        super().__init__(detail, problems=tuple(problems))
        self.left = left


def supply_open(*, total: int, offer: Offer | None = None, lot: Lot | None = None) -> Supply:
    """Begin to count the doses of a lot, or of an offer whose pollen is still to be collected."""
    return Supply.objects.create(offer=offer, lot=lot, total=total)


def supplies_lock(offer: Offer) -> list[Supply]:
    """Lock every supply of an offer, lots before what is still to be collected; what ran out is let go.

    Must be called in a transaction. The swept reservations are marked; their agreements are the caller's.
    """
    of_offer = Q(offer=offer) | Q(lot__offer=offer)
    # Whoever waited must read anew: a lot that was collected meanwhile has a supply of its own.
    supplies_lock_all(of_offer)
    rows = Supply.objects.select_for_update(of=("self",)).filter(of_offer).order_by("pk")
    return sorted(rows, key=lambda supply: (supply.lot_id is None, supply.pk))


def supplies_lock_all(concerned: Q) -> None:
    """Lock the supplies of several offers, in the order of their ids, before any agreement is locked."""
    list(Supply.objects.select_for_update(of=("self",)).filter(concerned).order_by("pk").only("pk"))


def lapsed_release(supplies: Sequence[Supply], now: datetime) -> list[Reservation]:
    """Let go what was reserved until a time that is past; the supplies are locked."""
    by_id = {supply.pk: supply for supply in supplies}
    past = Reservation.objects.filter(supply__in=by_id, state=State.ACTIVE, reserved_until__lte=now)
    rows = list(past.select_related("agreement").order_by("pk"))
    for row in rows:
        _leave(by_id[row.supply_id], row, State.LAPSED, now)
    return rows


def doses_reserve(
    supplies: Iterable[Supply], agreement: Agreement, *, until: datetime, now: datetime
) -> Reservation:
    """Reserve an agreement's doses in one of the locked supplies, the first that has them all.

    Raises ``DosesShort`` with the most that one supply could give.
    """
    rows = list(supplies)
    chosen = next((supply for supply in rows if supply.left >= agreement.doses), None)
    if chosen is None:
        raise DosesShort(agreement.doses, max((supply.left for supply in rows), default=0))
    chosen.reserved += agreement.doses
    chosen.save(update_fields=["reserved"])
    return Reservation.objects.create(
        agreement=agreement,
        supply=chosen,
        doses=agreement.doses,
        reserved_until=until,
        created_at=now,
        changed_at=now,
    )


def doses_release(supply: Supply, reservation: Reservation, now: datetime) -> None:
    """Give all doses of a reservation back."""
    _leave(supply, reservation, State.RELEASED, now)


def doses_release_some(supply: Supply, reservation: Reservation, doses: int, now: datetime) -> None:
    """Keep only so many doses of a reservation; fewer than it has and at least one."""
    if not 1 <= doses < reservation.doses:
        allowed = f"1 to {reservation.doses - 1}" if reservation.doses > 1 else "none; end it instead"
        detail = f"doses is {doses}; allowed: {allowed}."
        problem = FieldProblem("/doses", "not_allowed", detail, str(doses), allowed)
        raise InvalidInput(detail, problems=(problem,))
    supply.reserved -= reservation.doses - doses
    supply.save(update_fields=["reserved"])
    reservation.doses, reservation.changed_at = doses, now
    reservation.save(update_fields=["doses", "changed_at"])


def doses_send(supply: Supply, reservation: Reservation, now: datetime) -> None:
    """The doses of a reservation leave the donor."""
    supply.sent += reservation.doses
    _leave(supply, reservation, State.USED, now, also=["sent"])


def doses_move(origin: Supply, target: Supply, reservation: Reservation, now: datetime) -> None:
    """Let a reservation count in another supply, both locked; the target has room for it."""
    origin.reserved -= reservation.doses
    target.reserved += reservation.doses
    # The counters of both rows are true after either write; the total of the origin follows.
    origin.save(update_fields=["reserved"])
    target.save(update_fields=["reserved"])
    reservation.supply, reservation.changed_at = target, now
    reservation.save(update_fields=["supply", "changed_at"])


def kept_back_set(supply: Supply, kept_back: int) -> None:
    """Keep so many doses for oneself; what is promised or sent stays so. ``DosesShort`` beyond that."""
    free = supply.left + supply.kept_back
    if kept_back > free:
        raise DosesShort(kept_back, free)
    supply.kept_back = kept_back
    supply.save(update_fields=["kept_back"])


def total_set(supply: Supply, total: int) -> None:
    """Count anew how many doses there are; at least those that are promised, sent or kept back."""
    supply.total = total
    supply.save(update_fields=["total"])


def reservation_of(agreement: Agreement) -> Reservation | None:
    """The active reservation of an agreement."""
    return agreement.reservations.filter(state=State.ACTIVE).first()


def _leave(
    supply: Supply, reservation: Reservation, state: str, now: datetime, also: Sequence[str] = ()
) -> None:
    supply.reserved -= reservation.doses
    supply.save(update_fields=["reserved", *also])
    reservation.state, reservation.changed_at = state, now
    reservation.save(update_fields=["state", "changed_at"])
