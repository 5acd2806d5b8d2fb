"""Doses promised to one agreement until a time."""

from django.db import models
from django.db.models import Q

from exchange.models.agreement import Agreement
from exchange.models.supply import Supply
from growers import clock


class Reservation(models.Model):
    """Doses of one supply that are promised to one agreement until a time.

    Past ``reserved_until`` an active one counts as lapsed wherever it is read, swept or not.
    """

    class State(models.TextChoices):
        ACTIVE = "active"
        RELEASED = "released"
        LAPSED = "lapsed"
        USED = "used"

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="reservations")
    supply = models.ForeignKey(Supply, on_delete=models.PROTECT, related_name="reservations")
    doses = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.ACTIVE)
    reserved_until = models.DateTimeField()
    created_at = models.DateTimeField(default=clock.now)
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [models.Index(fields=["supply", "state"], name="reservation_of_supply")]
        constraints = [
            models.UniqueConstraint("agreement", condition=Q(state="active"), name="reservation_active_once"),
            models.CheckConstraint(condition=Q(doses__gte=1), name="reservation_has_doses"),
        ]

    def __str__(self) -> str:
        return f"{self.doses} {self.state}"
