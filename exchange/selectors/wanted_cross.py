"""Wanted crosses as their own grower reads them, and what a grower may ask for by name."""

from django.db.models import Exists, OuterRef, Q, QuerySet

from exchange.models import Pairing, WantedCross
from growers.models import Grower, Plant


def wanted_crosses_of(grower: Grower) -> QuerySet[WantedCross]:
    """A grower's own wanted crosses with all that is shown of them; three queries."""
    rows = WantedCross.objects.filter(seed_parent__grower=grower).select_related("seed_parent")
    return rows.prefetch_related("pollen_plants", "pollen_taxa")


def plants_nameable(grower: Grower) -> QuerySet[Plant]:
    """Plants that a grower may ask for: their own, and those whose offers they were shown."""
    shown = Pairing.objects.filter(
        offer__plant=OuterRef("pk"), wanted_cross__seed_parent__grower=grower
    ).order_by()
    return Plant.objects.filter(Q(grower=grower) | Exists(shown))
