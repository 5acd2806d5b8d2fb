"""An offer and a wanted cross side by side: chances, dates, reasons. Superseded, never deleted."""

from django.db import models

from exchange.models.matching_run import MatchingRun
from exchange.models.offer import Offer
from exchange.models.wanted_cross import WantedCross
from growers import clock
from growers.models.base import PublicModel


class Pairing(PublicModel):
    """One pairing as one run reckoned it.

    ``plan`` holds the numbers and dates with their basis, ``reasons`` and ``cautions`` codes with
    parameters; ``timeline`` is its picture day by day; ``input_digest`` says what it was reckoned from; the
    columns beside it are those that lists filter and sort by. ``allocated_doses`` is the run's proposal of
    who gets what; it promises nothing until both growers have said yes. ``withdrawn_because`` is why it went,
    where that is told to both. ``changed_at`` is when the row was written or its state last changed; nothing
    else of a row is written again without it.
    """

    class State(models.TextChoices):
        SUGGESTED = "suggested"
        SUPERSEDED = "superseded"
        DISMISSED = "dismissed"

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="pairings")
    wanted_cross = models.ForeignKey(WantedCross, on_delete=models.PROTECT, related_name="pairings")
    run = models.ForeignKey(MatchingRun, on_delete=models.PROTECT, related_name="pairings")
    state = models.CharField(max_length=20, choices=State, default=State.SUGGESTED)
    input_digest = models.CharField(max_length=64, default="")
    chance = models.FloatField()
    post_on = models.DateField(null=True, blank=True)
    not_later_than = models.DateField(null=True, blank=True)
    plan = models.JSONField()
    reasons = models.JSONField(default=list)
    cautions = models.JSONField(default=list)
    papers = models.JSONField(null=True, blank=True)
    withdrawn_because = models.JSONField(null=True, blank=True)
    smallest_change = models.JSONField(null=True, blank=True)
    allocated_doses = models.PositiveSmallIntegerField(default=0)
    allocation = models.JSONField(null=True, blank=True)
    timeline = models.JSONField(null=True, blank=True)
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [
            models.Index(fields=["created_at"], name="pairing_created_at"),
            models.Index(fields=["changed_at"], name="pairing_changed_at"),
        ]
        constraints = [
            models.UniqueConstraint(
                "offer",
                "wanted_cross",
                condition=models.Q(state="suggested"),
                name="pairing_suggested_once",
            ),
            models.CheckConstraint(
                condition=models.Q(chance__gte=0, chance__lte=1), name="pairing_chance_range"
            ),
        ]
