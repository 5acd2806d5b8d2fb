"""Notifications: what a grower was told, for that grower alone."""

from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse
from rest_framework import serializers

from exchange.api.operation import Call, act, page, read
from exchange.api.resource import Resource
from exchange.api.strict import Instant, StrictSerializer
from exchange.api.v1.region import REGION
from exchange.models import Notification
from exchange.selectors.notification import (
    About,
    NotificationForGrower,
    notification_for,
    notifications_of,
)
from exchange.services.notification import notification_mark_read, notifications_mark_read

PAIRING_ID = "0c1d2e3f-4a5b-4c6d-8e7f-8091a2b3c4d5"
ABOUT = {"kind": "pairing", "id": PAIRING_ID, "path": f"/api/v1/pairings/{PAIRING_ID}"}
NOTIFICATION = {
    "id": "1d2e3f40-5b6c-4d7e-8f90-91a2b3c4d5e6",
    "code": "pairing_proposed",
    "detail": "Someone in this region: France, would like pollen of your 'Ferry'. To post: best on Fri 2"
    " July, not later than Fri 9 July; each flower about 1 in 8 (12 %, likely range 3.0 % to 31 %).",
    "parameters": {
        "plant": "'Ferry'",
        "region": REGION,
        "precision": "days",
        "post_on": "2027-07-02",
        "not_later_than": "2027-07-09",
        "chance_each_flower": 0.12,
    },
    "about": ABOUT,
    "told_at": "2027-07-01T12:00:03Z",
    "read_at": None,
}


class AboutOut(serializers.Serializer[Any]):
    """What a notification is about."""

    kind = serializers.ChoiceField(
        [(kind, kind) for kind in ("pairing", "agreement", "detour", "offer", "lot", "recall")]
    )
    id = serializers.UUIDField()
    path = serializers.SerializerMethodField(help_text="Where it can be read.")

    def get_path(self, about: About) -> str:
        """The address without the host."""
        return reverse(about.kind, kwargs={"id": about.id})


class NotificationOut(serializers.Serializer[Any]):
    """Something that happened to the viewer's pairings, agreements or offers, in the viewer's language."""

    id = serializers.UUIDField(source="public_id")
    code = serializers.ChoiceField(Notification.Kind.choices)
    detail = serializers.CharField()
    parameters = serializers.DictField(child=serializers.JSONField(allow_null=True))
    about = AboutOut(allow_null=True, help_text="Null where it can be read no more.")
    told_at = serializers.DateTimeField()
    read_at = serializers.DateTimeField(allow_null=True)


class NotificationQuery(StrictSerializer):
    """Which notifications."""

    state = serializers.ChoiceField([("unread", "unread"), ("read", "read")], required=False)
    updated_since = Instant(required=False, help_text="Told or read at this instant or later.")


class ReadUntilIn(StrictSerializer):
    """Up to which one was read."""

    told_until = Instant(
        required=False, help_text="`told_at` of the newest that was shown; all that there are if left out."
    )


class UnreadOut(serializers.Serializer[Any]):
    """What is left to read."""

    unread = serializers.IntegerField()


class OfGrower(Resource):
    """Notifications of whoever asks."""

    tag = "notifications"

    def rows(self, call: Call) -> QuerySet[Notification]:
        """The viewer's own."""
        return notifications_of(call.grower)

    def represent(self, row: Notification) -> NotificationForGrower:
        """In words."""
        return notification_for(row)


class NotificationList(OfGrower):
    """The viewer's notifications."""

    @page(
        "notification_list",
        "What you were told",
        NotificationOut,
        example=NOTIFICATION,
        order=("-created_at", "public_id"),
        query=NotificationQuery,
    )
    def get(self, call: Call) -> QuerySet[Notification]:
        """Newest first, figures as they were when it was told; what is true now stands at `about`."""
        told, asked = self.rows(call), call.query
        if "state" in asked:
            told = told.filter(read_at__isnull=asked["state"] == "unread")
        if "updated_since" in asked:
            since = asked["updated_since"]
            told = told.filter(Q(created_at__gte=since) | Q(read_at__gte=since))
        return told


class NotificationItem(OfGrower):
    """One of the viewer's notifications."""

    @read(
        "notification_read",
        "One thing you were told",
        NotificationOut,
        example=NOTIFICATION,
        problems=("not_found",),
    )
    def get(self, call: Call) -> Notification:
        """Reading it here does not mark it as read."""
        return call.row  # type: ignore[no-any-return]


class NotificationMark(OfGrower):
    """Say that one was read."""

    @act(
        "notification_mark_read",
        "Mark it as read",
        NotificationOut,
        example={**NOTIFICATION, "read_at": "2027-07-01T17:05:00Z"},
        problems=("not_found",),
    )
    def post(self, call: Call) -> Notification:
        """The first time counts."""
        notification_mark_read(actor=call.grower, notification=call.row)
        return self.rows(call).get(pk=call.row.pk)


class NotificationMarkAll(Resource):
    """Say that all were read."""

    tag = "notifications"

    @act(
        "notification_mark_all_read",
        "Mark all as read",
        UnreadOut,
        body=ReadUntilIn,
        example={"unread": 0},
        body_example={"told_until": "2027-07-01T12:00:03Z"},
    )
    def post(self, call: Call) -> dict[str, int]:
        """With `told_until`, what came in after the list was fetched stays unread."""
        return {"unread": notifications_mark_read(actor=call.grower, **call.data)}
