"""Pollen that exists: one plant, one collection, one treatment."""

from django.db import models
from django.db.models import Q

from exchange.models.lot_code import code_new
from exchange.models.offer import Offer, Treatment
from exchange.models.store import Store
from growers import clock
from growers.models import Grower, Plant
from growers.models.base import PublicModel


class Lot(PublicModel):
    """One lot; how alive it is, and whether that is in doubt, is reckoned from its history and no state.

    What is null was not stated. ``store`` is where it lies now, its stays say where it lay before.
    ``dried_at`` is when its drying ended; without it the usual time is assumed.
    """

    class State(models.TextChoices):
        DRYING = "drying"
        STORED = "stored"
        IN_FLUID = "in_fluid"
        USED_UP = "used_up"
        DISCARDED = "discarded"

    code = models.CharField(max_length=8, unique=True, default=code_new, editable=False)
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="lots")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="lots")
    flowers_emptied = models.PositiveSmallIntegerField(null=True, blank=True)
    flower_day = models.PositiveSmallIntegerField(null=True, blank=True)
    collected_on = models.DateField()
    collected_hour = models.PositiveSmallIntegerField(null=True, blank=True)
    netted_before_opening = models.BooleanField(null=True, blank=True)
    collected_by = models.ForeignKey(
        Grower, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    treatment = models.CharField(max_length=10, choices=Treatment)
    dried_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.STORED)
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="lots")
    doses = models.PositiveSmallIntegerField()
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [models.Index(fields=["changed_at"], name="lot_changed_at")]
        constraints = [
            models.CheckConstraint(condition=Q(doses__gte=1), name="lot_has_doses"),
            models.CheckConstraint(
                condition=Q(flowers_emptied__isnull=True)
                | Q(flowers_emptied__gte=1, flowers_emptied__lte=200),
                name="lot_flowers_range",
            ),
            models.CheckConstraint(
                condition=Q(flower_day__isnull=True) | Q(flower_day__gte=1, flower_day__lte=7),
                name="lot_flower_day_range",
            ),
            models.CheckConstraint(
                condition=Q(collected_hour__isnull=True) | Q(collected_hour__lte=23), name="lot_hour_range"
            ),
        ]
