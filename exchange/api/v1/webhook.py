"""What a client's address is sent, see :mod:`exchange.api.v1.webhook_address`.

After Standard Webhooks (standardwebhooks.com, specification 1.0.0): thin events, three headers.
"""

from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiResponse, OpenApiWebhook, extend_schema
from rest_framework import serializers

from exchange.api.v1.notification import ABOUT, NOTIFICATION, AboutOut
from exchange.models import Notification
from exchange.services.webhook_event import event_type

Kind = Notification.Kind

TYPES = {kind: event_type(kind.value) for kind in Kind}
"""The type of event of each notification."""

HAPPENED = {
    Kind.PROPOSED: "A pairing is proposed to you",
    Kind.CHANGED: "The plan of a pairing has changed",
    Kind.WITHDRAWN: "A pairing is no longer proposed",
    Kind.AGREEMENT: "Something happened to an agreement of yours",
    Kind.STILL_TRUE: "An offer of yours is older than a season",
    Kind.PAUSED: "An offer of yours rests, because nobody said that it still holds",
    Kind.LOT: "Something happened to a lot that concerns you",
    Kind.RECALL: "Something was found on a plant of which you hold pollen or descendants",
}
GONE = "Send nothing to this address any more."
DESCRIPTION = """\
A thin event, which says that something happened and where to read it, and nothing secret. It is sent to an \
address of the grower's own (`POST /webhooks`), after Standard Webhooks 1.0.0, at least once and in no \
certain order: an event with a `webhook-id` that was seen before is the same event. Check \
`webhook-signature` before anything else, over the bytes as they came. Any 2xx within 10 seconds is taken as \
received; 410 switches the address off; anything else, a redirect too, is tried again, later each time, ten \
times over three days."""


class EventDataOut(serializers.Serializer[Any]):
    """Which notification, and what it is about."""

    notification_id = serializers.UUIDField()
    about = AboutOut(allow_null=True, help_text="Null where it can be read no more.")


class EventOut(serializers.Serializer[Any]):
    """An event as it is sent."""

    type = serializers.ChoiceField([(name, name) for name in TYPES.values()])
    timestamp = serializers.DateTimeField(
        help_text="When it happened; `webhook-timestamp` is when it was sent."
    )
    data = EventDataOut()  # type: ignore[assignment]


def event_example(name: str) -> dict[str, Any]:
    """One event of a type."""
    data = {"notification_id": NOTIFICATION["id"], "about": ABOUT}
    return {"type": name, "timestamp": NOTIFICATION["told_at"], "data": data}


def _webhook(kind: Kind) -> OpenApiWebhook:
    example = OpenApiExample("event", value=event_example(TYPES[kind]))
    decorator = extend_schema(
        operation_id=f"event_{kind.value}",
        summary=HAPPENED[kind],
        description=DESCRIPTION,
        tags=["webhooks"],
        request=EventOut,
        responses={"2XX": OpenApiResponse(description="Received."), "410": OpenApiResponse(description=GONE)},
        examples=[example],
    )
    return OpenApiWebhook(TYPES[kind], decorator)


proposed, changed, withdrawn = map(_webhook, (Kind.PROPOSED, Kind.CHANGED, Kind.WITHDRAWN))
agreement, still_true, paused = map(_webhook, (Kind.AGREEMENT, Kind.STILL_TRUE, Kind.PAUSED))
lot, recall = map(_webhook, (Kind.LOT, Kind.RECALL))
