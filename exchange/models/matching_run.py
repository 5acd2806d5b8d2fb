"""One run of the matching: what went in, by which model, and what it changed."""

from django.db import models

from growers import clock
from growers.models.base import PublicModel


class MatchingRun(PublicModel):
    """A stamped run; a run over unchanged input changes no pairing and says so."""

    class Rule(models.TextChoices):
        EACH_GROWER_FIRST = "one for each grower first"
        MOST_CAPSULES = "most capsules"

    today = models.DateField()
    model_version = models.CharField(max_length=16)
    started_at = models.DateTimeField(default=clock.now)
    finished_at = models.DateTimeField(null=True, blank=True)
    considered = models.PositiveIntegerField(default=0)
    proposed = models.PositiveIntegerField(default=0)
    written = models.PositiveIntegerField(default=0)
    superseded = models.PositiveIntegerField(default=0)
    rule = models.CharField(max_length=40, choices=Rule, default=Rule.EACH_GROWER_FIRST)
    report = models.JSONField(default=dict)
