"""What was last reckoned of a lot or a packet: its dates and what puts it in doubt."""

from django.db import models

from exchange.models.lot import Lot
from exchange.models.packet import Packet


class LotOutlook(models.Model):
    """Kept so that lists and calendars need not reckon; made anew from the history whenever that changes."""

    lot = models.ForeignKey(Lot, on_delete=models.CASCADE, related_name="outlooks")
    packet = models.ForeignKey(
        Packet, on_delete=models.CASCADE, null=True, blank=True, related_name="outlooks"
    )
    best_before_at = models.DateTimeField(null=True, blank=True)
    best_before_median_at = models.DateTimeField(null=True, blank=True)
    worth_trying_until_at = models.DateTimeField(null=True, blank=True)
    thermal_age_days = models.FloatField()
    doubts = models.JSONField(default=list)
    basis = models.JSONField(default=dict)
    model_version = models.CharField(max_length=64)
    reckoned_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["best_before_at"], name="lot_outlook_best_before")]
        constraints = [
            models.UniqueConstraint("lot", condition=models.Q(packet=None), name="lot_outlook_once"),
            models.UniqueConstraint(
                "packet", condition=models.Q(packet__isnull=False), name="lot_outlook_of_packet_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.best_before_at}"
