"""What is sent to an address of a grower's: a thin event and its signature, after Standard Webhooks 1.0.0."""

import json
from datetime import datetime
from typing import Any

from django.urls import reverse
from standardwebhooks import Webhook as Signer

from exchange.models import Notification, Webhook, WebhookDelivery
from exchange.selectors.notification import notification_for, notifications_of
from exchange.services.cipher import decrypted

SENDER = "pollen-exchange-webhook/1"


def event_type(kind: str) -> str:
    """The type of event of a notification: its code with a full stop, as Standard Webhooks writes types."""
    return kind.replace("_", ".", 1)


def event_of(delivery: WebhookDelivery) -> bytes | None:
    """The event as it is sent, the same bytes each time; None if its grower may no longer read it."""
    told = notifications_of(delivery.webhook.grower).filter(pk=delivery.notification_id).first()
    if told is None:
        return None
    event = {"type": event_type(told.kind), "timestamp": _instant(told.created_at), "data": _data(told)}
    return json.dumps(event, separators=(",", ":")).encode()


def _data(told: Notification) -> dict[str, Any]:
    about = notification_for(told).about
    shown = about and {
        "kind": about.kind,
        "id": str(about.id),
        "path": reverse(about.kind, kwargs={"id": about.id}),
    }
    return {"notification_id": str(told.public_id), "about": shown}


def _instant(instant: datetime) -> str:
    return instant.isoformat().replace("+00:00", "Z")


def headers_of(delivery: WebhookDelivery, body: bytes, sent_at: datetime) -> dict[str, str]:
    """The headers of an attempt; ``sent_at`` is by the true clock, which receivers compare with theirs."""
    name = str(delivery.public_id)
    signed = [signature(secret, name, sent_at, body) for secret in _secrets(delivery.webhook, sent_at)]
    return {
        "content-type": "application/json",
        "user-agent": SENDER,
        "webhook-id": name,
        "webhook-timestamp": str(int(sent_at.timestamp())),
        "webhook-signature": " ".join(signed),
    }


def signature(secret: str, name: str, sent_at: datetime, body: bytes) -> str:
    """``v1,`` and base64 of the HMAC-SHA256 of ``name.seconds.body`` under a secret ``whsec_…``."""
    return Signer(secret).sign(name, sent_at, body.decode())


def _secrets(webhook: Webhook, sent_at: datetime) -> list[str]:
    """The present secret, and the one before while it still signs."""
    sealed = [webhook.sealed_secret]
    if webhook.sealed_previous is not None and webhook.previous_until is not None:
        sealed += [webhook.sealed_previous] * (sent_at < webhook.previous_until)
    return [decrypted(bytes(each)).decode() for each in sealed]
