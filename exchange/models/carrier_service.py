"""A postal or courier service as the grower who uses it knows it."""

from django.db import models
from django.db.models import Q

from growers.models import Grower
from growers.models.base import PublicModel

PROMISED_DAYS_MOST = 15


class CarrierService(PublicModel):
    """One service of one grower, in the country it is handed over in.

    It takes parcels on ``weekdays`` (none: the country's usual week) but for public holidays, corrected by
    its own ``opened_days`` and ``closed_days`` (ISO dates). ``cut_off`` is the local time until which a
    parcel still leaves the same day. What it promises are business days.
    """

    class Weekday(models.TextChoices):
        MONDAY = "monday"
        TUESDAY = "tuesday"
        WEDNESDAY = "wednesday"
        THURSDAY = "thursday"
        FRIDAY = "friday"
        SATURDAY = "saturday"
        SUNDAY = "sunday"

    grower = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="carrier_services")
    name = models.CharField(max_length=60)
    country = models.CharField(max_length=2)
    weekdays = models.JSONField(default=list, blank=True)
    delivers_on_saturday = models.BooleanField(default=False)
    cut_off = models.TimeField(null=True, blank=True)
    promised_days_home = models.PositiveSmallIntegerField(null=True, blank=True)
    promised_days_abroad = models.PositiveSmallIntegerField(null=True, blank=True)
    opened_days = models.JSONField(default=list, blank=True)
    closed_days = models.JSONField(default=list, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "name", name="carrier_service_name_once_per_grower"),
            models.CheckConstraint(
                condition=Q(promised_days_home=None) | Q(promised_days_home__range=(1, PROMISED_DAYS_MOST)),
                name="carrier_service_promised_home_range",
            ),
            models.CheckConstraint(
                condition=Q(promised_days_abroad=None)
                | Q(promised_days_abroad__range=(1, PROMISED_DAYS_MOST)),
                name="carrier_service_promised_abroad_range",
            ),
        ]
