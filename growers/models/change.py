"""The queue of changed facts: written in the transaction that changed them, emptied by matching."""

from django.db import models

from growers import clock


class Change(models.Model):
    """One fact that changed and has not been taken into account yet.

    ``claimed_until`` is set by a conditional UPDATE of the worker that takes the row; a worker that
    died leaves a claim that runs out.
    """

    class Kind(models.TextChoices):
        GROWER = "grower"
        SITE = "site"
        TAXON = "taxon"
        PLANT = "plant"
        BLOOM = "bloom"
        WEATHER = "weather"
        OFFER = "offer"
        WANTED_CROSS = "wanted_cross"

    kind = models.CharField(max_length=20, choices=Kind)
    subject_id = models.BigIntegerField()
    noted_at = models.DateTimeField(default=clock.now)
    claimed_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["kind", "subject_id"], name="change_subject")]
