"""Temperatures a lot or a packet went through: read from a logger's file, or felt by hand."""

from django.db import models
from django.db.models import F, Q

from exchange.models.lot import Lot
from exchange.models.packet import Packet
from growers.models import Grower
from growers.models.base import PublicModel


class TemperatureUpload(PublicModel):
    """One file of a logger with all its readings packed, or one word for how it felt.

    ``confirmed`` is how the file was read as its grower confirmed it, ``findings`` what was found in it.
    ``readings`` are packed arrays; the file itself is not kept, only its SHA-256, so that the same file
    again is no second upload. ``photo`` is re-encoded without metadata.
    """

    class Felt(models.TextChoices):
        COLD = "cold"
        COOL = "cool"
        WARM = "warm"

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="temperatures")
    packet = models.ForeignKey(
        Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="temperatures"
    )
    felt = models.CharField(max_length=10, choices=Felt, blank=True)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    file_digest = models.CharField(max_length=64, blank=True)
    confirmed = models.JSONField(default=dict)
    findings = models.JSONField(default=list)
    summary = models.JSONField(default=dict)
    readings = models.BinaryField(null=True, blank=True)
    photo = models.BinaryField(null=True, blank=True)
    uploaded_by = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(felt="", readings__isnull=False) | (~Q(felt="") & Q(readings__isnull=True)),
                name="temperature_read_or_felt",
            ),
            models.CheckConstraint(condition=Q(ended_at__gt=F("began_at")), name="temperature_ends_after"),
            models.UniqueConstraint(
                "lot",
                "file_digest",
                condition=Q(packet=None) & ~Q(file_digest=""),
                name="temperature_file_once_per_lot",
            ),
            models.UniqueConstraint(
                "packet",
                "file_digest",
                condition=Q(packet__isnull=False) & ~Q(file_digest=""),
                name="temperature_file_once_per_packet",
            ),
        ]
