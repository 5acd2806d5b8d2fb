"""Wanted crosses as their own grower reads them, and what a grower may ask for by name."""

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from exchange.models import Pairing, WantedCross
from exchange.selectors.block import hidden_from
from growers.models import Grower, Plant, Taxon


def wanted_crosses_of(grower: Grower) -> QuerySet[WantedCross]:
    """A grower's own wanted crosses with all that is shown of them; four queries.

    Plants of a grower hidden from them are not named, though the wanted cross still means them.
    """
    rows = WantedCross.objects.filter(seed_parent__grower=grower).select_related("seed_parent")
    plants = Plant.objects.exclude(grower__in=hidden_from(grower)).order_by("pk")
    taxa = Taxon.objects.order_by("pk")
    return rows.prefetch_related(Prefetch("pollen_plants", plants), Prefetch("pollen_taxa", taxa))


def plants_nameable(grower: Grower) -> QuerySet[Plant]:
    """Plants that a grower may ask for: their own, and those whose offers they are shown."""
    shown = Pairing.objects.filter(
        offer__plant=OuterRef("pk"), wanted_cross__seed_parent__grower=grower
    ).order_by()
    others = Exists(shown) & ~Q(grower__in=hidden_from(grower))
    return Plant.objects.filter(Q(grower=grower) | others)
