"""A dated, sourced legal caution about plants crossing a border; never permission."""

from django.db import models

from growers.models import Grower, Taxon
from growers.models.base import PublicModel


class BorderNote(PublicModel):
    """What somebody read or was told about a taxon on its way from one country to another.

    Blank ``origin`` means from anywhere; no ``taxon`` means any. A note that forbids removes pairings; a
    note that does not forbid allows nothing. A note that a grower proposed, after asking ``asked_whom``,
    counts once a coordinator has confirmed it; ``proposed_by`` is empty where the society put it on file
    itself, and is shown to nobody.
    """

    class Kind(models.TextChoices):
        FORBIDDEN = "forbidden"
        CONDITIONS = "conditions"

    class State(models.TextChoices):
        PROPOSED = "proposed"
        CONFIRMED = "confirmed"
        REFUSED = "refused"

    kind = models.CharField(max_length=20, choices=Kind)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, null=True, blank=True)
    origin = models.CharField(max_length=2, blank=True)
    destination = models.CharField(max_length=2)
    text = models.CharField(max_length=400)
    source = models.CharField(max_length=300)
    asked_whom = models.CharField(max_length=200, blank=True)
    checked_on = models.DateField()
    expires_on = models.DateField(null=True, blank=True)
    invented = models.BooleanField(default=False)
    state = models.CharField(max_length=10, choices=State, default=State.CONFIRMED)
    proposed_by = models.ForeignKey(
        Grower, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    decided_by = models.ForeignKey(Grower, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires_on__isnull=True)
                | models.Q(expires_on__gte=models.F("checked_on")),
                name="border_note_expires_after_check",
            ),
        ]
