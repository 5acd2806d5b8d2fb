"""Who read a grower's address: the log as its owner sees it."""

from django.db.models import QuerySet

from exchange.models import AddressView
from growers.models import Grower


def address_views_of(owner: Grower) -> QuerySet[AddressView]:
    """Every time a partner read the owner's address, with who and for which agreement; one query.

    Whoever was blocked since, or blocked the owner, stays in it: nobody must be able to wipe the trace.
    """
    return AddressView.objects.filter(owner=owner).select_related("agreement", "viewer")
