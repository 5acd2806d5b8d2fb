"""A labelled container with doses of one lot."""

from django.db import models
from django.db.models import Q

from exchange.models.agreement import Agreement
from exchange.models.lot import Lot
from exchange.models.shipment import Shipment
from exchange.models.store import Store
from growers.models import Grower
from growers.models.base import PublicModel


class Packet(PublicModel):
    """Doses taken out of a lot into a container of their own; from then on it has a history of its own.

    ``holder`` has it now; ``store`` is where it lies there, null while it is on the way or nobody said.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="packets")
    number = models.PositiveSmallIntegerField()
    doses = models.PositiveSmallIntegerField()
    agreement = models.ForeignKey(
        Agreement, on_delete=models.PROTECT, null=True, blank=True, related_name="packets"
    )
    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, null=True, blank=True, related_name="packets"
    )
    holder = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="packets")
    store = models.ForeignKey(Store, on_delete=models.PROTECT, null=True, blank=True, related_name="packets")
    filled_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint("lot", "number", name="packet_number_once_per_lot"),
            models.CheckConstraint(condition=Q(doses__gte=1), name="packet_has_doses"),
        ]
