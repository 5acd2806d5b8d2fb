"""What flowered when: seasons on record, windows only said, and what was seen on a day.

A day is a civil date at the plant's place, stored as a date and never passed through UTC. A night
bloomer's day is the evening on which the flower opens.
"""

from django.db import models

from growers.models.base import PublicModel
from growers.models.plant import Plant


class BloomSeason(PublicModel):
    """First and last flower of one season of one plant; the season may cross New Year."""

    class Precision(models.TextChoices):
        DAY = "day"
        WEEK = "week"
        MONTH_THIRD = "month_third"
        MONTH = "month"

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="bloom_seasons")
    first_flower_on = models.DateField()
    first_precision = models.CharField(max_length=20, choices=Precision, default=Precision.DAY)
    last_flower_on = models.DateField(null=True, blank=True)
    last_precision = models.CharField(max_length=20, choices=Precision, default=Precision.DAY)

    class Meta:
        constraints = [
            models.UniqueConstraint("plant", "first_flower_on", name="bloom_season_once"),
            models.CheckConstraint(
                condition=models.Q(last_flower_on__isnull=True)
                | models.Q(last_flower_on__gte=models.F("first_flower_on")),
                name="bloom_season_in_order",
            ),
        ]


class BloomSaid(PublicModel):
    """A window that the grower only said: month and day without a year, or "all year" with weak months."""

    class Precision(models.TextChoices):
        DATE = "date"
        MONTH_THIRD = "month_third"

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="bloom_said")
    all_year = models.BooleanField(default=False)
    weak_months = models.JSONField(default=list, blank=True)
    first_month = models.PositiveSmallIntegerField(null=True, blank=True)
    first_day = models.PositiveSmallIntegerField(null=True, blank=True)
    last_month = models.PositiveSmallIntegerField(null=True, blank=True)
    last_day = models.PositiveSmallIntegerField(null=True, blank=True)
    precision = models.CharField(max_length=20, choices=Precision, default=Precision.MONTH_THIRD)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(all_year=True)
                | models.Q(
                    first_month__isnull=False,
                    first_day__isnull=False,
                    last_month__isnull=False,
                    last_day__isnull=False,
                ),
                name="bloom_said_complete",
            ),
        ]


class BloomSighting(PublicModel):
    """What was seen on one day: no flower yet, a bud and its stage, new flowers counted, season over."""

    class Kind(models.TextChoices):
        NOT_YET = "not_yet"
        BUD = "bud"
        FIRST_DAY_FLOWERS = "first_day_flowers"
        SEASON_OVER = "season_over"

    class BudStage(models.TextChoices):
        UNDER_WATER = "under water"
        AT_THE_SURFACE = "at the surface"
        SHOWING_COLOUR = "showing colour"

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="bloom_sightings")
    seen_on = models.DateField()
    kind = models.CharField(max_length=20, choices=Kind)
    bud_stage = models.CharField(max_length=20, choices=BudStage, blank=True)
    flower_count = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("plant", "seen_on", "kind", name="bloom_sighting_once_a_day"),
            models.CheckConstraint(
                condition=~models.Q(kind="bud") | ~models.Q(bud_stage=""), name="bloom_bud_has_stage"
            ),
            models.CheckConstraint(
                condition=~models.Q(kind="first_day_flowers") | models.Q(flower_count__isnull=False),
                name="bloom_count_has_number",
            ),
        ]
