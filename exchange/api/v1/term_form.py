"""Terms in the API: what a donor asks of a taker."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Day, StrictSerializer, Text, Whole
from exchange.wording.term import CODES

TERM = {
    "key": "tell_result",
    "code": "tell_result",
    "text": "Tell me what became of it, failures too.",
}


class TermOut(serializers.Serializer[Any]):
    """One term: what a taker ticks (``key``), and the sentence that was or is to be agreed to."""

    key = serializers.CharField(help_text="Changes whenever the term does.")
    code = serializers.ChoiceField(CODES)
    percent = serializers.IntegerField(required=False, help_text="Of `share_seed`.")
    until = serializers.DateField(required=False, help_text="Of `not_before`.")
    text = serializers.CharField()


class TermIn(StrictSerializer):
    """A term to ask for; `share_seed` has a percent, `not_before` a day, `other` a text."""

    code = Choice(CODES)
    percent = Whole(1, 99, required=False)
    until = Day(required=False)
    text = Text(max_length=300, required=False)
