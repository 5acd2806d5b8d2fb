"""A counted test of a lot."""

from django.db import models

from exchange.models.lot import Lot
from exchange.models.packet import Packet
from growers.models import Grower
from growers.models.base import PublicModel


class Assay(PublicModel):
    """One test: its way (method, medium, rule) and the counts of each replicate.

    ``replicates`` is a list of ``[germinated, counted]``; of a stain, ``[stained, counted]``.
    """

    class Method(models.TextChoices):
        IN_VITRO = "in_vitro"
        STIGMATIC_FLUID = "stigmatic_fluid"
        STAIN = "stain"

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="assays")
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="assays")
    tested_at = models.DateTimeField()
    method = models.CharField(max_length=20, choices=Method)
    medium = models.CharField(max_length=200)
    rule = models.CharField(max_length=200)
    rehydrated = models.BooleanField(null=True, blank=True)
    replicates = models.JSONField()
    tested_by = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")
