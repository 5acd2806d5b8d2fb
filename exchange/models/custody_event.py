"""The history of a lot: what was done with it, when it happened, when it was told, and by whom."""

from django.db import models

from exchange.models.lot import Lot
from exchange.models.packet import Packet
from growers.models import Grower
from growers.models.base import PublicModel


class CustodyEvent(PublicModel):
    """One thing that happened to a lot or a packet; the database lets nobody change or delete it.

    ``created_at`` is when it was received and decides rights, ``occurred_at`` when it is said to have
    happened, at a place whose clock is that of ``zone``. What was wrong is put right by another event that
    ``corrects`` it. ``sealed_note`` opens with a key of the actor's that goes when their account does.
    """

    class Kind(models.TextChoices):
        COLLECTED = "collected"
        DRIED = "dried"
        MOVED = "moved"
        PUT_IN_FLUID = "put_in_fluid"
        INCIDENT = "incident"
        PACKET_FILLED = "packet_filled"
        TESTED = "tested"
        TEMPERATURE_READ = "temperature_read"
        HANDED_OVER = "handed_over"
        RECEIVED = "received"
        USED_UP = "used_up"
        DISCARDED = "discarded"
        CORRECTED = "corrected"

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="events")
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="events")
    kind = models.CharField(max_length=20, choices=Kind)
    occurred_at = models.DateTimeField()
    zone = models.CharField(max_length=60)
    actor = models.ForeignKey(Grower, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    parameters = models.JSONField(default=dict)
    sealed_note = models.BinaryField(null=True, blank=True)
    corrects = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrections"
    )

    class Meta:
        indexes = [models.Index(fields=["lot", "occurred_at"], name="custody_event_of_lot")]
