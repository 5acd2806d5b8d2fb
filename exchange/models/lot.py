"""Pollen that exists: one plant, one collection, one treatment."""

from django.db import models

from exchange.models.offer import Offer, Treatment
from growers.models import Plant
from growers.models.base import PublicModel


class Lot(PublicModel):
    """One lot in its store; how alive it is, is reckoned from these facts and never stored as a state."""

    class Store(models.TextChoices):
        REFRIGERATOR = "refrigerator"
        FREEZER = "freezer"

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="lots")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="lots")
    collected_on = models.DateField()
    treatment = models.CharField(max_length=10, choices=Treatment)
    store = models.CharField(max_length=20, choices=Store)
    doses = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(store="freezer") | models.Q(treatment="frozen"),
                name="lot_freezer_holds_dried_and_frozen",
            ),
            models.CheckConstraint(condition=models.Q(doses__gte=1), name="lot_has_doses"),
        ]
