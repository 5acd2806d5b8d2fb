"""Addresses of one grower, with as much sent to one as asked for."""

from collections.abc import Sequence
from typing import Any

from exchange.models import Notification, WebhookDelivery
from growers.models import Grower
from tests.api.bulk import copies
from tests.exchange.receiver import make_webhook


class ManyWebhooks:
    """An address with what was sent to it, and others."""

    def __init__(self, grower: Grower) -> None:
        self.webhook = make_webhook(grower)

    @property
    def rows(self) -> dict[str, Any]:
        """The row that is read, by where its kind stands in addresses."""
        return {"webhooks": self.webhook}

    def grow(self, new: Sequence[int]) -> None:
        """So many of each, of what the grower was told."""
        copies(self.webhook, new, url="https://hooks.example/{}".format)
        told = Notification.objects.filter(grower=self.webhook.grower, deliveries=None).order_by("pk")
        keys = list(told.values_list("pk", flat=True)[: len(new)])
        assert len(keys) == len(new)
        made = WebhookDelivery(webhook=self.webhook)
        copies(made, range(len(keys)), notification_id=keys.__getitem__)
