"""Something found on a plant that all who hold something of it must hear."""

from django.db import models

from growers.models import Grower, Plant
from growers.models.base import PublicModel


class Recall(PublicModel):
    """A pest, a virus or a wrong name found on a plant; reported again it is the same recall."""

    class Kind(models.TextChoices):
        PEST = "pest"
        VIRUS = "virus"
        WRONG_NAME = "wrong_name"

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="recalls")
    kind = models.CharField(max_length=20, choices=Kind)
    found_on = models.DateField()
    text = models.CharField(max_length=300, blank=True)
    reported_by = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint("plant", "kind", "found_on", name="recall_once")]
