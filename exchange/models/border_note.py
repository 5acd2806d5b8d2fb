"""A dated, sourced legal caution about plants crossing a border; never permission."""

from django.db import models

from growers.models import Taxon
from growers.models.base import PublicModel


class BorderNote(PublicModel):
    """What somebody read or was told about a taxon on its way from one country to another.

    Blank ``origin`` means from anywhere; no ``taxon`` means any. A note that forbids removes pairings; a
    note that does not forbid allows nothing.
    """

    class Kind(models.TextChoices):
        FORBIDDEN = "forbidden"
        CONDITIONS = "conditions"

    kind = models.CharField(max_length=20, choices=Kind)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, null=True, blank=True)
    origin = models.CharField(max_length=2, blank=True)
    destination = models.CharField(max_length=2)
    text = models.CharField(max_length=400)
    source = models.CharField(max_length=300)
    checked_on = models.DateField()
    expires_on = models.DateField(null=True, blank=True)
    invented = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires_on__isnull=True)
                | models.Q(expires_on__gte=models.F("checked_on")),
                name="border_note_expires_after_check",
            ),
        ]
