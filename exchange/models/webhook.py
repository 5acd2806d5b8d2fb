"""An address of a client's that is told of what happens to its grower."""

from django.db import models
from django.db.models import Q

from growers import clock
from growers.models import Grower
from growers.models.base import PublicModel


class Webhook(PublicModel):
    """One address; secrets are encrypted. After a rotation the one before signs too until ``previous_until``.

    ``kinds`` are codes of notifications, all if empty. A disabled one says why: the address answered that it
    is gone, or nothing could be delivered for days, or its grower switched it off. What was told before
    ``tells_from`` is settled. While an address that let us wait rests, nothing is sent to it.
    """

    class State(models.TextChoices):
        ACTIVE = "active"
        DISABLED = "disabled"

    class Reason(models.TextChoices):
        GONE = "gone"
        FAILED_FOR_DAYS = "failed_for_days"
        SWITCHED_OFF = "switched_off"

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="webhooks")
    url = models.CharField(max_length=500)
    kinds = models.JSONField(default=list, blank=True)
    sealed_secret = models.BinaryField()
    sealed_previous = models.BinaryField(null=True, blank=True)
    previous_until = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.ACTIVE)
    reason = models.CharField(max_length=20, choices=Reason, blank=True)
    disabled_at = models.DateTimeField(null=True, blank=True)
    tells_from = models.DateTimeField(default=clock.now)
    rests_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state="active", reason="", disabled_at=None)
                | (Q(state="disabled", disabled_at__isnull=False) & ~Q(reason="")),
                name="webhook_disabled_says_why",
            ),
        ]
