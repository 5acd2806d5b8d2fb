"""One notification on its way to one webhook, with every attempt."""

from django.db import models

from exchange.models.notification import Notification
from exchange.models.webhook import Webhook
from growers.models.base import PublicModel


class WebhookDelivery(PublicModel):
    """``public_id`` is the ``webhook-id``, the same for every attempt; when it is tried again is a due row.

    ``attempts`` are records of number in the schedule, instant, status, error and seconds, the latest last.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        DELIVERED = "delivered"
        GIVEN_UP = "given_up"

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    notification = models.ForeignKey(Notification, on_delete=models.CASCADE, related_name="deliveries")
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.JSONField(default=list)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("webhook", "notification", name="webhook_delivery_once"),
        ]
        indexes = [models.Index(fields=["webhook", "created_at"], name="webhook_delivery_of_webhook")]
