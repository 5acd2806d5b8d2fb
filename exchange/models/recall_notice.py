"""Who was told of a recall, and of what they hold."""

from django.db import models

from exchange.models.recall import Recall
from growers.models import Grower
from growers.models.base import PublicModel


class RecallNotice(PublicModel):
    """One holder's notice; ``held`` are codes of lots, numbers of packets and of the holder's own plants."""

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="notices")
    grower = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="recall_notices")
    held = models.JSONField(default=dict)

    class Meta:
        constraints = [models.UniqueConstraint("recall", "grower", name="recall_notice_once")]
