"""The signed-in grower's own settings."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, change, read, remove
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Flag, StrictSerializer, Text, TimeOfDay, Words
from exchange.services.account import account_close
from growers.models import Grower
from growers.selectors.grower import GrowerForOwner, for_owner
from growers.services.grower import grower_update

ME = {
    "id": "0d9b7a56-5f0c-4f3e-8f3f-6f1d7f4f2a11",
    "handle": "pond by the mill",
    "email": "name@example.org",
    "name": "",
    "language": "en",
    "units": "metric",
    "zone": "Europe/Paris",
    "quiet_from": "22:00",
    "quiet_until": "07:00",
    "countries_shipped_to": ["FR", "BE"],
    "default_terms": ["credit"],
    "may_be_asked": False,
    "credit_line": "",
}
LANGUAGES = [("en", "English"), ("de", "Deutsch")]


class MeOut(serializers.Serializer[Any]):
    """All that is kept of a grower, for that grower alone."""

    id = serializers.UUIDField(source="public_id")
    handle = serializers.CharField(help_text="Shown to others.")
    email = serializers.CharField(allow_null=True)
    name = serializers.CharField()
    language = serializers.ChoiceField(LANGUAGES)
    units = serializers.ChoiceField(Grower.Units.choices)
    zone = serializers.CharField(help_text="IANA time zone.")
    quiet_from = TimeOfDay(allow_null=True)
    quiet_until = TimeOfDay(allow_null=True)
    countries_shipped_to = serializers.ListField(child=serializers.CharField())
    default_terms = serializers.ListField(child=serializers.CharField())
    may_be_asked = serializers.BooleanField(help_text="May be asked for pollen that is not offered.")
    credit_line = serializers.CharField()


class MeIn(StrictSerializer):
    """What may be changed here; the e-mail is changed on its page, because it must be confirmed."""

    handle = Text(max_length=40)
    name = Text(max_length=120, allow_blank=True)
    language = Choice(LANGUAGES)
    units = Choice(Grower.Units.choices)
    zone = Text(max_length=64)
    quiet_from = TimeOfDay(allow_null=True)
    quiet_until = TimeOfDay(allow_null=True)
    countries_shipped_to = Words(child=Text(max_length=2), max_length=250)
    default_terms = Words()
    may_be_asked = Flag()
    credit_line = Text(max_length=200, allow_blank=True)


class Me(Resource):
    """The signed-in grower."""

    tag = "me"

    def find(self, call: Call, path: Any) -> Grower:
        """Always the viewer, as stored now."""
        return Grower.objects.get(pk=call.grower.pk)

    def represent(self, row: Grower) -> GrowerForOwner:
        """Everything of one's own."""
        return for_owner(row)

    @read("me_read", "Your settings", MeOut, example=ME)
    def get(self, call: Call) -> Grower:
        """Only you can read them; others see your handle."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "me_change",
        "Change your settings",
        MeIn,
        MeOut,
        example=ME,
        body_example={"zone": "Europe/Paris", "countries_shipped_to": ["FR", "BE"]},
    )
    def patch(self, call: Call) -> Grower:
        """What is not stated stays."""
        return grower_update(actor=call.grower, **call.data)

    @remove("me_remove", "Close your account", session_only=True)
    def delete(self, call: Call) -> None:
        """For good, in a session of the pages only: name, e-mail, exact places, weather and tokens go.

        Plants stay, without your name, because others' pedigrees rest on them.
        """
        account_close(actor=call.grower)
