"""A secret address at which a grower's calendar program reads deadlines and flower days."""

from django.db import models

from growers.models import Grower
from growers.models.base import PublicModel


class CalendarFeed(PublicModel):
    """One feed; of its secret only a digest is kept. Revoked by deletion."""

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="calendar_feeds")
    name = models.CharField(max_length=60)
    digest = models.CharField(max_length=64, unique=True)
    last_read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint("grower", "name", name="calendar_feed_name_once")]
