"""Addresses of a grower's clients that events are sent to, and what became of each event.

What is sent is described in :mod:`exchange.api.v1.webhook`.
"""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, change, create, page, read, remove
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Flag, StrictSerializer, Text, Words
from exchange.api.v1.notification import NOTIFICATION
from exchange.models import Notification, Webhook, WebhookDelivery
from exchange.services.webhook import (
    WebhookMade,
    webhook_change,
    webhook_create,
    webhook_delete,
    webhook_rotate,
)
from exchange.services.webhook_address import LONGEST_URL
from exchange.services.webhook_delivery import delivery_resend
from exchange.services.webhook_event import event_type

NEW_WEBHOOK = {"url": "https://hooks.example/pollen", "kinds": ["agreement_event", "recall"]}
WEBHOOK: dict[str, Any] = {
    "id": "6b5c4d3e-2f10-4e9d-8c7b-6a5948372615",
    **NEW_WEBHOOK,
    "state": "active",
    "reason": None,
    "disabled_at": None,
    "previous_secret_until": None,
    "created_at": "2027-07-01T12:00:00Z",
}
MADE = {**WEBHOOK, "secret": "whsec_…"}
ROTATED = {**MADE, "previous_secret_until": "2027-07-02T12:00:00Z"}
ATTEMPT = {"number": 1, "at": "2027-07-01T12:01:03Z", "status": 204, "error": None, "seconds": 0.12}
DELIVERY: dict[str, Any] = {
    "id": "7c6d5e4f-3a21-4f0e-9d8c-7b6a59483726",
    "notification_id": NOTIFICATION["id"],
    "type": "pairing.proposed",
    "state": "delivered",
    "attempts": [ATTEMPT],
    "created_at": "2027-07-01T12:01:00Z",
    "finished_at": "2027-07-01T12:01:03Z",
}
ERRORS = """\
Null if it was received. `not_accepted`: another status than 2xx. `redirected`: not followed. `no_answer`, \
`timed_out`, `not_secure`: no status. `refused_…`: nothing was sent, see the codes of `url`; \
`refused_unknown`: the name was not found, `refused_not_public`: it leads to an address that is not public."""
REASON = "`gone`: it answered 410. `failed_for_days`: nothing could be delivered. `switched_off`: by you."


class WebhookOut(serializers.Serializer[Any]):
    """An address without its secret."""

    id = serializers.UUIDField(source="public_id")
    url = serializers.CharField()
    kinds = serializers.ListField(
        child=serializers.ChoiceField(Notification.Kind.choices), help_text="Of notifications; all if empty."
    )
    state = serializers.ChoiceField(Webhook.State.choices)
    reason = serializers.SerializerMethodField(help_text=REASON)
    disabled_at = serializers.DateTimeField(allow_null=True)
    previous_secret_until = serializers.DateTimeField(
        source="previous_until", allow_null=True, help_text="Until then the secret before signs too."
    )
    created_at = serializers.DateTimeField()

    def get_reason(self, webhook: Webhook) -> str | None:
        """Null while it is active."""
        return webhook.reason or None


class WebhookMadeOut(WebhookOut):
    """An address with a new secret, which is shown this once."""

    secret = serializers.CharField(help_text="`whsec_` and base64 of the key that signs.")


class WebhookIn(StrictSerializer):
    """Where to send, and of what."""

    url = Text(
        max_length=LONGEST_URL,
        help_text="https, port 443 or 8443, a host by its full name; no user, no fragment.",
    )
    kinds = Words(child=Choice(Notification.Kind.choices), max_length=len(Notification.Kind), default=list)


class WebhookChangeIn(StrictSerializer):
    """What may change."""

    url = Text(max_length=LONGEST_URL)
    kinds = Words(child=Choice(Notification.Kind.choices), max_length=len(Notification.Kind))
    active = Flag(help_text="False switches it off. What was told while it was off is not sent.")


class AttemptOut(serializers.Serializer[Any]):
    """One attempt."""

    number = serializers.IntegerField(help_text="In the schedule, from 1 to 10; a resend begins with 1.")
    at = serializers.DateTimeField()
    status = serializers.IntegerField(allow_null=True)
    error = serializers.SerializerMethodField(help_text=ERRORS)
    seconds = serializers.FloatField(help_text="That it took.")

    def get_error(self, attempt: dict[str, Any]) -> str | None:
        """Null if it was received."""
        return attempt["error"] or None


class DeliveryOut(serializers.Serializer[Any]):
    """One event on its way to one address."""

    id = serializers.UUIDField(source="public_id", help_text="The `webhook-id` of every attempt.")
    notification_id = serializers.UUIDField(source="notification.public_id")
    type = serializers.SerializerMethodField()
    state = serializers.ChoiceField(WebhookDelivery.State.choices)
    attempts = AttemptOut(many=True, help_text="The latest last, at most 50.")
    created_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)

    def get_type(self, delivery: WebhookDelivery) -> str:
        """As in the event."""
        return event_type(delivery.notification.kind)


class OwnWebhooks(Resource):
    """Addresses of whoever asks."""

    tag = "webhooks"

    def rows(self, call: Call) -> QuerySet[Webhook]:
        """The viewer's own."""
        return Webhook.objects.filter(grower=call.grower)

    def represent(self, row: Webhook | WebhookMade) -> Any:
        """With the secret, if it is new."""
        if isinstance(row, WebhookMade):
            row.webhook.secret = row.secret  # type: ignore[attr-defined]
            return row.webhook
        return row


class WebhookList(OwnWebhooks):
    """All of them."""

    @page(
        "webhook_list",
        "Addresses that are told",
        WebhookOut,
        example=WEBHOOK,
        order=("-created_at", "public_id"),
    )
    def get(self, call: Call) -> QuerySet[Webhook]:
        """Newest first; at most five."""
        return self.rows(call)

    @create(
        "webhook_create",
        "Have an address told of what happens",
        WebhookIn,
        WebhookMadeOut,
        example=MADE,
        body_example=NEW_WEBHOOK,
        secret=True,
        at="webhook",
    )
    def post(self, call: Call) -> WebhookMade:
        """Of everything that you are told from now on, or of some kinds. The secret is shown this once.

        Every address that the host's name leads to must be public; that is looked up each time.
        """
        return webhook_create(actor=call.grower, **call.data)


class WebhookItem(OwnWebhooks):
    """One of them."""

    @read("webhook_read", "One address", WebhookOut, example=WEBHOOK, problems=("not_found",))
    def get(self, call: Call) -> Webhook:
        """Without its secret."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "webhook_change",
        "Change an address, or switch it off or on",
        WebhookChangeIn,
        WebhookOut,
        example=WEBHOOK,
        body_example=NEW_WEBHOOK,
        problems=("not_found",),
    )
    def patch(self, call: Call) -> Webhook:
        """A kind that is added may bring what was told in the two days before."""
        return webhook_change(actor=call.grower, webhook=call.row, **call.data)

    @remove("webhook_remove", "Remove an address", problems=("not_found",))
    def delete(self, call: Call) -> None:
        """With its secret and the log of what was sent to it; nothing more is sent."""
        webhook_delete(actor=call.grower, webhook=call.row)


class WebhookRotate(OwnWebhooks):
    """A new secret."""

    @act(
        "webhook_rotate",
        "Give an address a new secret",
        WebhookMadeOut,
        example=ROTATED,
        problems=("not_found",),
        keyed=True,
        secret=True,
    )
    def post(self, call: Call) -> WebhookMade:
        """For 24 hours both secrets sign, the new one first. It is shown this once."""
        return webhook_rotate(actor=call.grower, webhook=call.row)


class WebhookDeliveries(OwnWebhooks):
    """What was sent to an address."""

    @page(
        "webhook_delivery_list",
        "What was sent to an address",
        DeliveryOut,
        example=DELIVERY,
        order=("-created_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[WebhookDelivery]:
        """Newest first, with every attempt.

        Given up without an attempt: the address was off, or what it told of can no longer be read.
        """
        return WebhookDelivery.objects.filter(webhook=call.row).select_related("notification")

    def represent(self, row: Any) -> Any:
        """As it is."""
        return row


class DeliveryResend(Resource):
    """Once more."""

    tag = "webhooks"

    def rows(self, call: Call) -> QuerySet[WebhookDelivery]:
        """To the viewer's own addresses."""
        own = WebhookDelivery.objects.filter(webhook__grower=call.grower)
        return own.select_related("notification")

    @act(
        "webhook_delivery_resend",
        "Send an event once more",
        DeliveryOut,
        example={**DELIVERY, "state": "waiting", "finished_at": None},
        problems=("not_found", "conflict"),
        keyed=True,
    )
    def post(self, call: Call) -> WebhookDelivery:
        """Within minutes, with the same `webhook-id`, whatever became of it. 409 while its address is off."""
        return delivery_resend(actor=call.grower, delivery=call.row)
