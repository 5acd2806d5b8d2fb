"""Who is hidden from whom."""

from django.db.models import Q

from exchange.models import Block
from growers.models import Grower


def hidden_from(grower: Grower) -> frozenset[int]:
    """Ids of growers that a grower must not meet, whoever of the two blocked."""
    pairs = Block.objects.filter(Q(grower=grower) | Q(blocked=grower)).values_list("grower", "blocked")
    return frozenset(one for pair in pairs for one in pair) - {grower.pk}


def are_hidden(one: Grower, other: Grower) -> bool:
    """Whether either has blocked the other."""
    return Block.objects.filter(Q(grower=one, blocked=other) | Q(grower=other, blocked=one)).exists()
