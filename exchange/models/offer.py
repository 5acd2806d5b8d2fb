"""Pollen a grower gives of one plant: collected in bloom on request, or in hand as lots."""

from django.db import models

from exchange.models.carrier_service import CarrierService
from growers import clock
from growers.models import Plant
from growers.models.base import PublicModel


class OpenState(models.TextChoices):
    """State of an offer and of a wanted cross."""

    OPEN = "open"
    PAUSED = "paused"
    CLOSED = "closed"


class Treatment(models.TextChoices):
    """What is done with pollen before it is posted; frozen pollen was dried first."""

    FRESH = "fresh"
    DRIED = "dried"
    FROZEN = "frozen"


class PackingPreset(models.TextChoices):
    """How a donor packs; the hours that a box stays cold are computed, never promised."""

    COLD_BOX = "cold_box"
    ENVELOPE = "envelope"
    OWN_BOX = "own_box"


BOX_FITS_PACKING = models.Q(packing="own_box", box__isnull=False) | (
    ~models.Q(packing="own_box") & models.Q(box__isnull=True)
)
"""An own box has its measures, and nothing else has."""


class Wall(models.TextChoices):
    """What the wall of a box is made of."""

    POLYSTYRENE = "polystyrene"
    POLYURETHANE = "polyurethane"
    VACUUM_PANEL = "vacuum_panel"
    PADDING = "padding"


class Offer(PublicModel):
    """One offer of one plant; ``countries`` are those its donor posts to besides the own.

    ``box`` is what an own box measures and holds. Without a ``carrier_service`` parcels go by the country's
    usual week; ``posts_on_saturday`` adds Saturday.
    ``terms`` are what a taker must agree to, as codes with parameters. ``confirmed_at`` is when the donor
    last said that it still holds, ``still_true_asked_at`` when they were asked and have not answered since:
    a paused offer with it was paused by silence. ``doses`` is what was offered, the supply counts what
    became of it.
    """

    class Kind(models.TextChoices):
        ON_REQUEST = "on_request"
        IN_HAND = "in_hand"

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="offers")
    kind = models.CharField(max_length=20, choices=Kind)
    state = models.CharField(max_length=10, choices=OpenState, default=OpenState.OPEN)
    treatment = models.CharField(max_length=10, choices=Treatment)
    packing = models.CharField(max_length=20, choices=PackingPreset, default=PackingPreset.COLD_BOX)
    box = models.JSONField(null=True, blank=True)
    doses = models.PositiveSmallIntegerField()
    doses_per_flower = models.PositiveSmallIntegerField(default=1)
    countries = models.JSONField(default=list, blank=True)
    carrier_service = models.ForeignKey(
        CarrierService, on_delete=models.SET_NULL, null=True, blank=True, related_name="offers"
    )
    posts_on_saturday = models.BooleanField(default=False)
    collected_before_cut_off = models.BooleanField(default=True)
    note = models.CharField(max_length=300, blank=True)
    terms = models.JSONField(default=list, blank=True)
    confirmed_at = models.DateTimeField(default=clock.now)
    still_true_asked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(doses__gte=1, doses__lte=999), name="offer_doses_range"
            ),
            models.CheckConstraint(
                condition=models.Q(doses_per_flower__gte=1, doses_per_flower__lte=50),
                name="offer_doses_per_flower_range",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="in_hand") | ~models.Q(treatment="frozen"),
                name="offer_frozen_is_in_hand",
            ),
            models.CheckConstraint(
                condition=BOX_FITS_PACKING,
                name="offer_own_box_has_measures",
            ),
        ]
