"""What a grower states about papers before a parcel crosses a border."""

from django.db import models

from exchange.models.agreement import Agreement
from growers import clock
from growers.models import Grower
from growers.models.base import PublicModel


class PapersStatement(PublicModel):
    """One side's statement: whom they asked, when, and the answer; the newest of a side counts.

    The donor states what the parcel holds, the recipient whether papers are in hand. The exchange keeps
    what was said; it judges nothing.
    """

    class Side(models.TextChoices):
        DONOR = "donor"
        RECIPIENT = "recipient"

    class Origin(models.TextChoices):
        CULTIVATED = "cultivated"
        WILD = "wild"
        NOT_KNOWN = "not_known"

    class Rights(models.TextChoices):
        NONE_KNOWN = "none_known"
        HELD_OR_ASKED = "held_or_asked"
        NOT_KNOWN = "not_known"

    class Papers(models.TextChoices):
        IN_HAND = "in_hand"
        NOT_NEEDED = "not_needed"
        NOT_SURE = "not_sure"

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="papers_statements")
    grower = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")
    side = models.CharField(max_length=10, choices=Side)
    botanical_name = models.CharField(max_length=200, blank=True)
    origin = models.CharField(max_length=20, choices=Origin, blank=True)
    origin_detail = models.CharField(max_length=200, blank=True)
    free_of_soil_water_insects = models.BooleanField(null=True, blank=True)
    rights = models.CharField(max_length=20, choices=Rights, blank=True)
    papers = models.CharField(max_length=20, choices=Papers, blank=True)
    asked_whom = models.CharField(max_length=200, blank=True)
    asked_on = models.DateField(null=True, blank=True)
    answer = models.CharField(max_length=400, blank=True)
    stated_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [models.Index(fields=["agreement", "side"], name="papers_statement_of_side")]
