"""A grower who does not want to meet another: both are hidden from each other everywhere."""

from django.db import models
from django.db.models import F, Q

from growers.models import Grower
from growers.models.base import PublicModel


class Block(PublicModel):
    """``grower`` blocked ``blocked``; who blocked whom is told to nobody but ``grower``.

    Without ``handle_known`` not even ``grower`` learns the handle: the other is someone in a region.
    """

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="blocks")
    blocked = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="+")
    handle_known = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "blocked", name="block_once"),
            models.CheckConstraint(condition=~Q(grower=F("blocked")), name="block_another"),
        ]
