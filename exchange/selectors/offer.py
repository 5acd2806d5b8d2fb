"""Offers as their own grower reads them."""

from django.db.models import QuerySet

from exchange.models import Offer
from growers.models import Grower


def offers_of(grower: Grower) -> QuerySet[Offer]:
    """A grower's own offers with plant and lots; two queries."""
    return Offer.objects.filter(plant__grower=grower).select_related("plant").prefetch_related("lots")
