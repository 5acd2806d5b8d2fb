"""Who has the role of a coordinator."""

from exchange.models import Coordinator
from growers.models import Grower


def is_coordinator(grower: Grower) -> bool:
    """Whether a grower runs the society's exchange now."""
    return Coordinator.objects.filter(grower=grower, grower__closed_at=None).exists()
