"""What went wrong with a store or with one lot."""

from django.db import models
from django.db.models import F, Q

from exchange.models.lot import Lot
from exchange.models.packet import Packet
from exchange.models.store import Store
from growers.models import Grower
from growers.models.base import PublicModel


class Incident(PublicModel):
    """One incident: of a store (then it touches all that lay in it), of a lot, or of one packet.

    ``temperature_c`` is how warm it got, as stated or assumed, from ``began_at`` to ``ended_at``; without it
    the incident changes no temperature.
    """

    class Kind(models.TextChoices):
        SWITCHED_OFF = "switched_off"
        LEFT_OUT = "left_out"
        THAWED = "thawed"
        GOT_DAMP = "got_damp"

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, null=True, blank=True, related_name="incidents"
    )
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="incidents")
    packet = models.ForeignKey(
        Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="incidents"
    )
    kind = models.CharField(max_length=20, choices=Kind)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    temperature_c = models.FloatField(null=True, blank=True)
    reported_by = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(store__isnull=True) ^ Q(lot__isnull=True), name="incident_of_store_or_lot"
            ),
            models.CheckConstraint(condition=Q(ended_at__gte=F("began_at")), name="incident_ends_after"),
        ]
