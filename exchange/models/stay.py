"""Where a lot or a packet was, and from when to when."""

from django.db import models
from django.db.models import F, Q

from exchange.models.lot import Lot
from exchange.models.offer import BOX_FITS_PACKING, PackingPreset
from exchange.models.packet import Packet
from exchange.models.store import Store


class Stay(models.Model):
    """One stay in one store, or on the way; without ``packet`` it is the lot's, without ``until`` it goes on.

    On the way there is no store: ``packing`` (with the measures of an own ``box``) says how it was packed and
    ``ambient_c`` what was assumed round the parcel.

    Rows are added and ended by moves; what a move got wrong is put right by another custody event.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="stays")
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="stays")
    store = models.ForeignKey(Store, on_delete=models.PROTECT, null=True, blank=True, related_name="stays")
    packing = models.CharField(max_length=20, choices=PackingPreset, blank=True)
    box = models.JSONField(null=True, blank=True)
    ambient_c = models.FloatField(null=True, blank=True)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "lot", condition=Q(packet=None, until=None), name="stay_of_lot_goes_on_once"
            ),
            models.UniqueConstraint(
                "packet", condition=Q(packet__isnull=False, until=None), name="stay_of_packet_goes_on_once"
            ),
            models.CheckConstraint(
                condition=Q(store__isnull=False, packing="", ambient_c=None)
                | (Q(store=None, packet__isnull=False, ambient_c__isnull=False) & ~Q(packing="")),
                name="stay_in_store_or_on_the_way",
            ),
            models.CheckConstraint(
                condition=BOX_FITS_PACKING,
                name="stay_own_box_has_measures",
            ),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gte=F("since")), name="stay_ends_after"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.since} {self.until}"
