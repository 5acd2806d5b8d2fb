"""A refrigerator or freezer in which lots lie."""

from django.db import models

from growers.models import Grower
from growers.models.base import PublicModel


class Store(PublicModel):
    """One store of one grower; without ``temperature_c`` it is as cold as its kind usually is."""

    class Kind(models.TextChoices):
        REFRIGERATOR = "refrigerator"
        FREEZER = "freezer"
        FROST_FREE_FREEZER = "frost_free_freezer"
        CHEST_FREEZER = "chest_freezer"
        COLDER = "colder"

    grower = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="stores")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=20, choices=Kind)
    temperature_c = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "name", name="store_name_once_per_grower"),
            models.CheckConstraint(
                condition=models.Q(temperature_c__isnull=True)
                | models.Q(temperature_c__gte=-90, temperature_c__lte=30),
                name="store_temperature_range",
            ),
        ]

    @property
    def freezes(self) -> bool:
        """Whether what lies in it is frozen."""
        return self.kind != self.Kind.REFRIGERATOR
