"""What a plant belongs to: species, hybrids and cultivars with the facts that matching needs."""

from django.db import models

from growers.models.base import PublicModel


class Group(models.TextChoices):
    """The seven groups of compatibility; Confluentes counts as Anecphya."""

    HARDY = "hardy"
    BRACHYCERAS = "brachyceras"
    ANECPHYA = "anecphya"
    LOTOS = "lotos"
    HYDROCALLIS = "hydrocallis"
    VICTORIA = "victoria"
    NELUMBO = "nelumbo"


class Diel(models.TextChoices):
    """When the flower is open; kept apart from the group (N. petersiana is a day-opening Lotos)."""

    DAY = "day"
    NIGHT = "night"


class Fertility(models.TextChoices):
    """Whether seed or pollen of a plant works; ``unknown`` is not ``yes``."""

    YES = "yes"
    POOR = "poor"
    NO = "no"
    UNKNOWN = "unknown"


class Taxon(PublicModel):
    """One name with its flower clock, chromosome counts and fertility; ``sources`` says where each is from.

    ``sources`` maps an aspect (``group``, ``flower``, ``hours``, ``chromosomes``, ``fertility``) to
    ``{"source": …, "status": …}``; only aspects that hold a value have one. Taxa of the reference tables
    also say it for each number of the flower's clock (``flower_days``, ``receptive_day``,
    ``pollen_first_day``, ``pollen_last_day``). Days count from 1, the day the flower first opens; a
    pollen day of 0 is the bud of the day before (*N. thermarum*).
    """

    class Rank(models.TextChoices):
        GENUS = "genus"
        GROUP = "group"
        SPECIES = "species"
        INFRASPECIES = "infraspecies"
        HYBRID = "hybrid"
        CULTIVAR = "cultivar"

    name = models.CharField(max_length=120, unique=True)
    rank = models.CharField(max_length=20, choices=Rank)
    group = models.CharField(max_length=20, choices=Group)
    origin_groups = models.JSONField(default=list, blank=True)
    diel = models.CharField(max_length=10, choices=Diel)
    flower_days = models.PositiveSmallIntegerField()
    receptive_day = models.PositiveSmallIntegerField(default=1)
    pollen_first_day = models.PositiveSmallIntegerField()
    pollen_last_day = models.PositiveSmallIntegerField()
    opens_at = models.TimeField(null=True, blank=True)
    closes_at = models.TimeField(null=True, blank=True)
    chromosome_counts = models.JSONField(default=list, blank=True)
    ploidy = models.FloatField(null=True, blank=True)
    seed_fertility = models.CharField(max_length=10, choices=Fertility, default=Fertility.UNKNOWN)
    pollen_fertility = models.CharField(max_length=10, choices=Fertility, default=Fertility.UNKNOWN)
    note = models.TextField(blank=True)
    sources = models.JSONField(default=dict)
    invented = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(pollen_last_day__gte=models.F("pollen_first_day")),
                name="taxon_pollen_days_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.name
