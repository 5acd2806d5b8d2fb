"""A cross that a grower wants: a seed parent of theirs and the pollen parents they would take."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from exchange.models.offer import OpenState
from growers.models import Plant, Taxon
from growers.models.base import PublicModel


class WantedCross(PublicModel):
    """What is wanted; visible to its owner and to growers whose plant could answer it."""

    seed_parent = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="wanted_crosses")
    state = models.CharField(max_length=10, choices=OpenState, default=OpenState.OPEN)
    pollen_plants = models.ManyToManyField(Plant, blank=True, related_name="wanted_in")
    pollen_taxa = models.ManyToManyField(Taxon, blank=True, related_name="wanted_in")
    pollen_groups = models.JSONField(default=list, blank=True)
    traits = models.JSONField(default=list, blank=True)
    flowers = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    least_chance = models.FloatField(default=0.001)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(flowers__gte=1, flowers__lte=12), name="wanted_cross_flowers_range"
            ),
            models.CheckConstraint(
                condition=models.Q(least_chance__gte=0, least_chance__lte=1),
                name="wanted_cross_least_chance_range",
            ),
        ]
