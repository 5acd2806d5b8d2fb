"""A coordinator's wish for a matching run: waits for its turn, is carried out, and then names the run."""

from django.db import models

from exchange.models.matching_run import MatchingRun
from growers.models import Grower
from growers.models.base import PublicModel


class MatchingOrder(PublicModel):
    """One wish for a run by a rule; ``starts`` counts how often it was begun.

    Of each rule at most one waits: whoever wishes the same meanwhile wishes that one.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    ordered_by = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")
    rule = models.CharField(max_length=40, choices=MatchingRun.Rule)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    starts = models.PositiveSmallIntegerField(default=0)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    run = models.ForeignKey(MatchingRun, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "rule", condition=models.Q(state="waiting"), name="matching_order_waits_once"
            ),
            models.CheckConstraint(
                condition=models.Q(state="done", run__isnull=False)
                | (~models.Q(state="done") & models.Q(run__isnull=True)),
                name="matching_order_done_has_run",
            ),
        ]
