"""What the signed-in grower is written about."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, change, read
from exchange.api.resource import Resource
from exchange.api.strict import Flag, StrictSerializer, Text, Words
from exchange.models import MailChoice, MailMessage
from exchange.selectors.mail_choice import MailChoiceForOwner, mail_choice_for_owner, mail_choice_of
from exchange.services.mail_choice import mail_choice_update
from growers import clock

KINDS = MailMessage.Kind.choices
CHOICE = {
    "declined": ["daily"],
    "night_calls": None,
    "night_asked_at": None,
    "rests_until": None,
}


class MailChoiceOut(serializers.Serializer[Any]):
    """What you are written about, by kind."""

    declined = serializers.ListField(
        child=serializers.ChoiceField(KINDS),
        help_text="Kinds that you get no messages of: the daily one; posting days that cannot wait for it;"
        " warnings about pollen you have or were promised.",
    )
    night_calls = serializers.BooleanField(
        allow_null=True,
        help_text="Whether what cannot wait may come in your quiet hours; null: not said, as no.",
    )
    night_asked_at = serializers.DateTimeField(
        allow_null=True, help_text="When a grower of night bloomers was asked that, once."
    )
    rests_until = serializers.DateTimeField(
        allow_null=True, help_text="Your mail server refused your address; nothing is sent before this."
    )


class MailChoiceIn(StrictSerializer):
    """What may be changed; quiet hours are in your settings."""

    declined = Words(child=Text(max_length=10), max_length=len(KINDS))
    night_calls = Flag(allow_null=True)


class MailChoices(Resource):
    """Messages to the signed-in grower."""

    tag = "me"

    def find(self, call: Call, path: Any) -> MailChoice:
        """The viewer's own."""
        return mail_choice_of(call.grower)

    def represent(self, row: MailChoice) -> MailChoiceForOwner:
        """One's own choices."""
        return mail_choice_for_owner(row.grower, row, clock.now())

    @read("me_mail_read", "What you are written about", MailChoiceOut, example=CHOICE)
    def get(self, call: Call) -> MailChoice:
        """One message a day at most, at 17:00 on your clock, and only if there is something to say.

        What cannot wait has a message of its own, outside your quiet hours. Each event is told once.
        """
        return call.row  # type: ignore[no-any-return]

    @change(
        "me_mail_change",
        "Choose what you are written about",
        MailChoiceIn,
        MailChoiceOut,
        example=CHOICE,
        body_example={"declined": ["daily"]},
    )
    def patch(self, call: Call) -> MailChoice:
        """What is not stated stays. Each message also has a link that stops its kind."""
        return mail_choice_update(actor=call.grower, **call.data)
