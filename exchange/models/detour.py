"""The way of one agreement's packets through a gathering: three yeses, and what each was told."""

from django.db import models
from django.db.models import Q

from exchange.models.agreement import Agreement
from exchange.models.gathering import Gathering
from growers import clock
from growers.models.base import PublicModel


class Detour(PublicModel):
    """A place in a gathering: asked for by the recipient, then the donor's yes, then the steward's.

    ``told`` are the chances of the direct way and of this one as they were told when it was asked for;
    ``plan`` is the newest plan of this one, as of ``planned_on``. ``least_chance`` is what the donor named:
    with less their packet does not go this way. ``not_later_than`` is that of the plan.
    """

    class State(models.TextChoices):
        ASKED = "asked"
        AGREED = "agreed"
        DECLINED = "declined"
        WITHDRAWN = "withdrawn"
        DONE = "done"

    gathering = models.ForeignKey(Gathering, on_delete=models.PROTECT, related_name="detours")
    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="detours")
    state = models.CharField(max_length=10, choices=State, default=State.ASKED)
    recipient_yes_at = models.DateTimeField()
    donor_yes_at = models.DateTimeField(null=True, blank=True)
    steward_yes_at = models.DateTimeField(null=True, blank=True)
    told = models.JSONField()
    plan = models.JSONField()
    planned_on = models.DateField()
    not_later_than = models.DateField(null=True, blank=True)
    least_chance = models.FloatField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "agreement",
                condition=Q(state__in=["asked", "agreed", "done"]),
                name="detour_of_agreement_once",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["agreed", "done"])
                | Q(donor_yes_at__isnull=False, steward_yes_at__isnull=False),
                name="detour_agreed_by_three",
            ),
            models.CheckConstraint(
                condition=Q(least_chance=None) | Q(least_chance__gte=0.0, least_chance__lte=1.0),
                name="detour_least_chance_range",
            ),
        ]
