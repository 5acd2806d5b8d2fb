"""A parcel: packets sent together to one consignee."""

from django.db import models
from django.db.models import Q

from exchange.models.agreement import Agreement
from exchange.models.carrier_service import CarrierService
from exchange.models.detour import Detour
from exchange.models.offer import BOX_FITS_PACKING, PackingPreset
from growers import clock
from growers.models.base import PublicModel


class Shipment(PublicModel):
    """One parcel of one agreement, from its plan to its end.

    Countries are those of the cells when it was planned: what lanes learn from. ``half_on`` and ``late_on``
    are the days by which half and nine in ten of such parcels come, if they come, as reckoned when it was
    dispatched; on each the consignee is asked once. ``promised_days`` are what its service promised then, if
    it had one. ``contents`` are codes of what is in it besides pollen. By way of a steward there are two
    parcels, each a ``leg`` of its ``detour`` with two ends of its own (``exchange.selectors.leg``).
    """

    class State(models.TextChoices):
        PLANNED = "planned"
        PACKED = "packed"
        DISPATCHED = "dispatched"
        HELD = "held"
        RECEIVED = "received"
        REFUSED = "refused"
        LOST = "lost"
        RETURNED = "returned"
        CALLED_OFF = "called_off"

    class Condition(models.TextChoices):
        INTACT = "intact"
        DAMP = "damp"
        CRUSHED = "crushed"
        WARM = "warm"
        LABEL = "label"

    class Leg(models.TextChoices):
        DIRECT = "direct"
        TO_STEWARD = "to_steward"
        INLAND = "inland"

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="shipments")
    state = models.CharField(max_length=10, choices=State, default=State.PLANNED)
    leg = models.CharField(max_length=10, choices=Leg, default=Leg.DIRECT)
    detour = models.ForeignKey(
        Detour, on_delete=models.PROTECT, null=True, blank=True, related_name="shipments"
    )
    packing = models.CharField(max_length=20, choices=PackingPreset)
    box = models.JSONField(null=True, blank=True)
    carrier = models.CharField(max_length=60, blank=True)
    tracking_number = models.CharField(max_length=60, blank=True)
    carrier_service = models.ForeignKey(
        CarrierService, on_delete=models.SET_NULL, null=True, blank=True, related_name="shipments"
    )
    promised_days = models.PositiveSmallIntegerField(null=True, blank=True)
    posts_on_saturday = models.BooleanField(default=False)
    contents = models.JSONField(default=list, blank=True)
    origin_country = models.CharField(max_length=2)
    destination_country = models.CharField(max_length=2)
    dispatched_at = models.DateTimeField(null=True, blank=True)
    dispatched_on = models.DateField(null=True, blank=True)
    half_on = models.DateField(null=True, blank=True)
    late_on = models.DateField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    business_days = models.PositiveSmallIntegerField(null=True, blank=True)
    condition = models.CharField(max_length=10, choices=Condition, blank=True)
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [
            models.Index(fields=["origin_country", "destination_country", "state"], name="shipment_of_lane")
        ]
        constraints = [
            models.CheckConstraint(
                condition=BOX_FITS_PACKING,
                name="shipment_own_box_has_measures",
            ),
            models.UniqueConstraint(
                "agreement",
                condition=Q(state__in=["planned", "packed", "dispatched", "held"]),
                name="shipment_under_way_once",
            ),
            models.CheckConstraint(
                condition=Q(leg="direct", detour=None) | (~Q(leg="direct") & Q(detour__isnull=False)),
                name="shipment_leg_of_detour",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["planned", "packed", "called_off"], dispatched_at=None)
                | (~Q(state__in=["planned", "packed", "called_off"]) & Q(dispatched_at__isnull=False)),
                name="shipment_dispatched_has_time",
            ),
        ]
