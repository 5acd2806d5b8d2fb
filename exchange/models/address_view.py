"""The log of addresses read by partners."""

from django.db import models

from exchange.models.agreement import Agreement
from growers.models import Grower
from growers.models.base import PublicModel


class AddressView(PublicModel):
    """A partner read an address; its owner sees every one."""

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="address_views")
    owner = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="address_views")
    viewer = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")
