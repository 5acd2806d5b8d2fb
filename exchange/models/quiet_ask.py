"""A question to a grower whether they would give pollen that they do not offer; the asker learns nothing."""

from django.db import models
from django.db.models import Q

from exchange.models.wanted_cross import WantedCross
from growers.models import Plant
from growers.models.base import PublicModel


class QuietAsk(PublicModel):
    """One line in the owner's digest: someone in a region would like pollen of a plant of yours."""

    class Answer(models.TextChoices):
        YES = "yes"
        NOT_THIS_YEAR = "not_this_year"
        NEVER = "never"

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="quiet_asks")
    wanted_cross = models.ForeignKey(WantedCross, on_delete=models.PROTECT, related_name="quiet_asks")
    answer = models.CharField(max_length=20, choices=Answer, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("plant", condition=Q(answer=""), name="quiet_ask_open_once"),
        ]
