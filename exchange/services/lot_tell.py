"""Who hears of what happened to a lot: its grower, and those to whom doses of it were promised or sent."""

from collections.abc import Iterable

from exchange.models import CustodyEvent, Lot, Notification, Packet, Reservation
from growers.models import Grower


def concerned(lot: Lot) -> list[Grower]:
    """The lot's grower, recipients of its doses and holders of its packets, each once, in order of keys."""
    live = (Reservation.State.ACTIVE, Reservation.State.USED)
    promised = Reservation.objects.filter(supply__lot=lot, state__in=live)
    keys = {lot.plant.grower_id, *promised.values_list("agreement__recipient", flat=True)}
    keys |= set(Packet.objects.filter(lot=lot).values_list("holder", flat=True))
    return list(Grower.objects.filter(pk__in=keys, closed_at=None).order_by("pk"))


def custody_tell(event: CustodyEvent, growers: Iterable[Grower]) -> None:
    """Tell growers of an event, in the transaction that made it; whoever knows of it already is left out."""
    Notification.objects.bulk_create(
        (
            Notification(
                grower=grower,
                kind=Notification.Kind.LOT,
                custody_event=event,
                created_at=event.created_at,
            )
            for grower in growers
        ),
        ignore_conflicts=True,
    )
