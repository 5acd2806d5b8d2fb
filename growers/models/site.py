"""Where plants are: the exact place is the owner's alone, others see the half-degree cell or less."""

from django.db import models

from growers.models.base import PublicModel
from growers.models.grower import Grower


class Site(PublicModel):
    """A pond, greenhouse or garden of one grower.

    ``cell_*`` describe the half-degree cell's centre: all that any answer to others is computed from.
    """

    class Water(models.TextChoices):
        OUTDOOR = "outdoor"
        HEATED = "heated"
        GLASS = "glass"

    class RegionLevel(models.TextChoices):
        CELL = "cell"
        SUBDIVISION = "subdivision"
        COUNTRY = "country"
        CLIMATE_BAND = "climate_band"

    grower = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=80)
    country = models.CharField(max_length=2)
    subdivision = models.CharField(max_length=10, blank=True)
    nearest_town = models.CharField(max_length=120, blank=True)
    latitude_deg = models.FloatField(null=True, blank=True)
    longitude_deg = models.FloatField(null=True, blank=True)
    cell_latitude_deg = models.FloatField()
    cell_longitude_deg = models.FloatField()
    cell_country = models.CharField(max_length=2)
    cell_zone = models.CharField(max_length=64)
    region_level = models.CharField(max_length=20, choices=RegionLevel, default=RegionLevel.COUNTRY)
    water = models.CharField(max_length=10, choices=Water, default=Water.OUTDOOR)
    water_depth_cm = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "name", name="site_name_once_per_grower"),
            models.CheckConstraint(
                condition=models.Q(cell_latitude_deg__gte=-90, cell_latitude_deg__lte=90),
                name="site_cell_latitude_range",
            ),
            models.CheckConstraint(
                condition=models.Q(cell_longitude_deg__gte=-180, cell_longitude_deg__lte=180),
                name="site_cell_longitude_range",
            ),
        ]

    def __str__(self) -> str:
        return self.name
