"""One accession: a clone at one site, the thing that flowers."""

from django.db import models

from growers.models.base import PublicModel
from growers.models.grower import Grower
from growers.models.site import Site
from growers.models.taxon import Diel, Fertility, Group, Taxon


class Plant(PublicModel):
    """A plant as its grower knows it; what is not known is blank or ``unknown``, never guessed."""

    class Identity(models.TextChoices):
        AS_RECEIVED = "as_received"
        FLOWERED_TRUE = "flowered_true"
        IN_DOUBT = "in_doubt"

    class Confidence(models.TextChoices):
        DECLARED = "declared"
        CONTROLLED = "controlled"
        TESTED = "tested"
        DISAGREES = "disagrees"

    class Origin(models.TextChoices):
        UNKNOWN = "unknown"
        CULTIVATED = "cultivated"
        WILD = "wild"

    class Rights(models.TextChoices):
        UNKNOWN = "unknown"
        NONE_KNOWN = "none_known"
        CLAIMED = "claimed"

    grower = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="plants")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="plants")
    number = models.CharField(max_length=40)
    name_as_grown = models.CharField(max_length=120)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, null=True, blank=True, related_name="plants")
    group = models.CharField(max_length=20, choices=Group)
    diel = models.CharField(max_length=10, choices=Diel)
    identity = models.CharField(max_length=20, choices=Identity, default=Identity.AS_RECEIVED)
    crowns = models.PositiveSmallIntegerField(default=1)
    traits = models.JSONField(default=list, blank=True)
    seed_fertility = models.CharField(max_length=10, choices=Fertility, default=Fertility.UNKNOWN)
    pollen_fertility = models.CharField(max_length=10, choices=Fertility, default=Fertility.UNKNOWN)
    fertility_evidence = models.CharField(max_length=300, blank=True)
    chromosome_counts = models.JSONField(default=list, blank=True)
    seed_parent = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="seedlings_as_seed_parent"
    )
    pollen_parent = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="seedlings_as_pollen_parent"
    )
    parentage_confidence = models.CharField(max_length=20, choices=Confidence, default=Confidence.DECLARED)
    direction_known = models.BooleanField(default=True)
    origin = models.CharField(max_length=20, choices=Origin, default=Origin.UNKNOWN)
    wild_country = models.CharField(max_length=2, blank=True)
    wild_year = models.PositiveSmallIntegerField(null=True, blank=True)
    rights = models.CharField(max_length=20, choices=Rights, default=Rights.UNKNOWN)
    health_seen = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "number", name="plant_number_once_per_grower"),
            models.CheckConstraint(
                condition=models.Q(crowns__gte=1, crowns__lte=500), name="plant_crowns_range"
            ),
            models.CheckConstraint(
                condition=models.Q(seed_parent__isnull=True) | ~models.Q(seed_parent=models.F("id")),
                name="plant_not_its_own_seed_parent",
            ),
            models.CheckConstraint(
                condition=models.Q(pollen_parent__isnull=True) | ~models.Q(pollen_parent=models.F("id")),
                name="plant_not_its_own_pollen_parent",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name_as_grown}"
