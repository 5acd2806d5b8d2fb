"""Calendar feeds: addresses at which a calendar program reads a grower's days and deadlines."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from rest_framework import serializers

from exchange.api.operation import Call, create, page, read, remove
from exchange.api.resource import Resource
from exchange.api.strict import StrictSerializer, Text
from exchange.models import CalendarFeed
from exchange.services.calendar_feed import feed_create, feed_revoke

FEED = {
    "id": "6a1f7f5f-2f4e-4b0f-8f3e-0c3de5a49a54",
    "name": "telephone",
    "created_at": "2027-07-03T19:00:00Z",
    "last_read_at": None,
}
SHOWN_ONCE = "https://pollen.example.org/calendar/Yh3pW…k.ics"


class FeedOut(serializers.Serializer[Any]):
    """A feed without its address."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()
    created_at = serializers.DateTimeField()
    last_read_at = serializers.DateTimeField(allow_null=True, help_text="To a few minutes.")


class FeedMadeOut(FeedOut):
    """A new feed; its address is shown this once."""

    address = serializers.URLField(help_text="Secret: whoever has it reads the calendar.")


class FeedIn(StrictSerializer):
    """What it is for."""

    name = Text(max_length=60)


class OfReader(Resource):
    """Feeds of whoever asks."""

    tag = "calendar"

    def rows(self, call: Call) -> QuerySet[CalendarFeed]:
        """The viewer's own."""
        return CalendarFeed.objects.filter(grower=call.grower)


class FeedList(OfReader):
    """The viewer's feeds."""

    @page(
        "calendar_feed_list",
        "Your calendar feeds",
        FeedOut,
        example=FEED,
        order=("-created_at", "public_id"),
    )
    def get(self, call: Call) -> QuerySet[CalendarFeed]:
        """Newest first, without their addresses, which are kept nowhere."""
        return self.rows(call)

    @create(
        "calendar_feed_create",
        "Make a calendar feed",
        FeedIn,
        FeedMadeOut,
        example={**FEED, "address": SHOWN_ONCE},
        body_example={"name": "telephone"},
        secret=True,
        at="calendar_feed",
    )
    def post(self, call: Call) -> CalendarFeed:
        """For a calendar program to subscribe to: a file (RFC 5545) of your days and deadlines.

        In it stand the posting days of agreements, likely arrivals and first-day flowers, the end of
        reservations and the dates of pollen that you have; of others a region and no name or address. The
        address opens nothing else. It is shown once: a replay is answered with `secret_already_shown`.
        """
        made = feed_create(actor=call.grower, name=call.data["name"])
        path = reverse("calendar", args=[made.secret])
        made.feed.address = call.request.build_absolute_uri(path)  # type: ignore[attr-defined]
        return made.feed


class FeedItem(OfReader):
    """One of the viewer's feeds."""

    @read("calendar_feed_read", "One of your calendar feeds", FeedOut, example=FEED, problems=("not_found",))
    def get(self, call: Call) -> CalendarFeed:
        """Without its address, which is kept nowhere."""
        return call.row  # type: ignore[no-any-return]

    @remove("calendar_feed_remove", "Revoke a calendar feed", problems=("not_found",))
    def delete(self, call: Call) -> None:
        """Its address is not found from now on; `If-Match: *` revokes it whether it was read meanwhile."""
        feed_revoke(actor=call.grower, feed=call.row)
