"""The weather of one day at one site, uploaded by its owner and seen by nobody else."""

from django.db import models

from growers.models.base import PublicModel
from growers.models.site import Site


class WeatherDay(PublicModel):
    """Air minimum, maximum and mean and water temperature of a civil day, each in °C or not stated."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="weather_days")
    measured_on = models.DateField()
    minimum_c = models.FloatField(null=True, blank=True)
    maximum_c = models.FloatField(null=True, blank=True)
    mean_c = models.FloatField(null=True, blank=True)
    water_c = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint("site", "measured_on", name="weather_day_once")]
