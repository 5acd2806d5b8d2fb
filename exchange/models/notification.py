"""What a grower is to be told: one row for one event; how and when it is delivered is another matter."""

from django.db import models

from exchange.models.pairing import Pairing
from growers.models import Grower
from growers.models.base import PublicModel


class Notification(PublicModel):
    """Something happened to a pairing that concerns a grower; the sentence is made for its reader."""

    class Kind(models.TextChoices):
        PROPOSED = "pairing_proposed"
        CHANGED = "pairing_changed"
        WITHDRAWN = "pairing_withdrawn"

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="notifications")
    kind = models.CharField(max_length=30, choices=Kind)
    pairing = models.ForeignKey(Pairing, on_delete=models.CASCADE, related_name="notifications")
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint("grower", "kind", "pairing", name="notification_once")]
        indexes = [models.Index(fields=["grower", "created_at"], name="notification_of_grower")]
