"""A gathering: parcels for one country that reach one grower there, who posts them on inland."""

from django.db import models
from django.db.models import F, Q

from growers import clock
from growers.models import Grower, Site
from growers.models.base import PublicModel


class Gathering(PublicModel):
    """A steward says that they hold a permit, and in which days parcels must reach them.

    Nobody here has checked the permit. Its number is for the steward and for donors whose packet goes this
    way. ``country`` is that of the site's cell; the site itself is told as a region only.
    """

    class State(models.TextChoices):
        OPEN = "open"
        CLOSED = "closed"
        CALLED_OFF = "called_off"

    steward = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="gatherings")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="gatherings")
    country = models.CharField(max_length=2)
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    reach_from = models.DateField()
    reach_until = models.DateField()
    handling_days = models.PositiveSmallIntegerField()
    permit_number = models.CharField(max_length=80)
    permit_valid_until = models.DateField()
    note = models.CharField(max_length=400, blank=True)
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [models.Index(fields=["country", "state"], name="gathering_of_country")]
        constraints = [
            models.CheckConstraint(
                condition=Q(reach_until__gte=F("reach_from"), permit_valid_until__gte=F("reach_until")),
                name="gathering_days_in_order",
            ),
            models.CheckConstraint(condition=Q(handling_days__lte=14), name="gathering_handling_days_range"),
        ]
