"""Border notes: what is on file about pollen crossing a border; proposed by who asked, then confirmed."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Day, Id, StrictSerializer, Text
from exchange.api.v1.matching_run import ForCoordinators
from exchange.api.v1.wanted_cross import NamedTaxonOut
from exchange.models import BorderNote
from exchange.selectors.border_note import (
    BorderNoteForViewer,
    border_notes_for,
    border_notes_of,
    concerning,
)
from exchange.services.border_note import border_note_confirm, border_note_propose, border_note_refuse
from growers import clock
from growers.models import Grower, Taxon

BORDER_NOTE: dict[str, Any] = {
    "id": "7d6c5b4a-3928-4716-8f05-e4d3c2b1a098",
    "state": "proposed",
    "kind": "conditions",
    "taxon": None,
    "origin": "FR",
    "destination": "DE",
    "text": "a plant passport is asked for",
    "source": "letter of the plant-health office, 12 June 2027",
    "asked_whom": "the plant-health office",
    "checked_on": "2027-06-12",
    "expires_on": None,
    "counts": False,
    "proposed_by_you": True,
    "invented": False,
}
NEW_BORDER_NOTE = {
    name: BORDER_NOTE[name]
    for name in ("kind", "origin", "destination", "text", "source", "asked_whom", "checked_on")
}
CONFIRMED = {**BORDER_NOTE, "state": "confirmed", "counts": True, "proposed_by_you": False}


class BorderNoteOut(serializers.Serializer[Any]):
    """What somebody read or was told, and when; never permission."""

    id = serializers.UUIDField(source="public_id")
    state = serializers.ChoiceField(
        BorderNote.State.choices, help_text="`proposed` counts nowhere before a coordinator confirms it."
    )
    kind = serializers.ChoiceField(
        BorderNote.Kind.choices,
        help_text="`forbidden` takes proposals away; `conditions` is told beside them.",
    )
    taxon = NamedTaxonOut(allow_null=True, help_text="Null: any.")
    origin = serializers.CharField(allow_null=True, help_text="Null: from anywhere.")
    destination = serializers.CharField()
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    asked_whom = serializers.CharField(
        allow_null=True, help_text="For whoever proposed the note and for coordinators."
    )
    checked_on = serializers.DateField()
    expires_on = serializers.DateField(allow_null=True)
    counts = serializers.BooleanField(help_text="Confirmed, not expired, checked in the last 12 months.")
    proposed_by_you = serializers.BooleanField()
    invented = serializers.BooleanField(help_text="Part of the demo.")


class BorderNoteIn(StrictSerializer):
    """What you asked and were told."""

    kind = Choice(BorderNote.Kind.choices)
    taxon_id = Id(required=False, allow_null=True, help_text="Any taxon if left out.")
    origin = Text(
        max_length=2, required=False, allow_blank=True, help_text="ISO 3166 alpha-2; blank: anywhere."
    )
    destination = Text(max_length=2, help_text="ISO 3166 alpha-2.")
    text = Text(max_length=400, help_text="What is forbidden or asked for, in a few words.")
    source = Text(  # type: ignore[assignment]
        max_length=300, help_text="A page with its address, a letter with its day."
    )
    asked_whom = Text(max_length=200, help_text="An authority, an office; no private name.")
    checked_on = Day(help_text="In the last 12 months.")
    expires_on = Day(required=False, allow_null=True)


class BorderNoteQuery(StrictSerializer):
    """Which notes; those about any taxon or from anywhere concern each."""

    state = serializers.ChoiceField(BorderNote.State.choices, required=False)
    taxon = serializers.UUIDField(required=False)
    origin = Text(max_length=2, required=False)
    destination = Text(max_length=2, required=False)


class OfViewer(Resource):
    """Border notes for the eyes of whoever asks."""

    tag = "papers"

    def rows(self, call: Call) -> QuerySet[BorderNote]:
        """Confirmed ones and one's own; all for a coordinator."""
        return border_notes_of(call.grower)

    def represent(self, row: BorderNote) -> BorderNoteForViewer:
        """What the viewer may read of it."""
        return border_notes_for(self.viewer, [row], clock.now().date())[0]

    def represent_each(self, rows: list[Any]) -> Iterable[BorderNoteForViewer]:
        """All of a page."""
        return border_notes_for(self.viewer, rows, clock.now().date())

    @property
    def viewer(self) -> Grower:
        """Who asks."""
        return cast(Grower, self.request.user)


class BorderNoteList(OfViewer):
    """The notes on file."""

    @page(
        "border_note_list",
        "Border notes",
        BorderNoteOut,
        example=CONFIRMED,
        order=("-checked_on", "public_id"),
        query=BorderNoteQuery,
    )
    def get(self, call: Call) -> QuerySet[BorderNote]:
        """The latest check first: confirmed notes and those you proposed. None of them is permission."""
        asked = dict(call.query)
        state = asked.pop("state", None)
        rows = concerning(self.rows(call), **asked)
        return rows.filter(state=state) if state else rows

    @create(
        "border_note_create",
        "Propose a border note",
        BorderNoteIn,
        BorderNoteOut,
        example=BORDER_NOTE,
        body_example=NEW_BORDER_NOTE,
        problems=("conflict",),
        at="border_note",
    )
    def post(self, call: Call) -> BorderNote:
        """What you have just asked, with source and day; it counts once a coordinator has confirmed it.

        That it was you is shown to no other grower.
        """
        fields = dict(call.data)
        taxon = row_named(Taxon.objects.all(), fields.pop("taxon_id", None), field="taxon_id", what="a taxon")
        with fields_named({"taxon": "taxon_id"}):
            return border_note_propose(actor=call.grower, taxon=taxon, **fields)


class BorderNoteItem(OfViewer):
    """One note."""

    @read("border_note_read", "One border note", BorderNoteOut, example=CONFIRMED, problems=("not_found",))
    def get(self, call: Call) -> BorderNote:
        """A proposed or refused one is read by its proposer and coordinators alone."""
        return call.row  # type: ignore[no-any-return]


class BorderNoteConfirm(ForCoordinators, OfViewer):
    """Let a note count."""

    tag = "papers"

    @act(
        "border_note_confirm",
        "Confirm a border note",
        BorderNoteOut,
        example=CONFIRMED,
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> BorderNote:
        """For coordinators. What it forbids is no longer proposed after the next run; both are told why."""
        return border_note_confirm(actor=call.grower, note=call.row)


class BorderNoteRefuse(ForCoordinators, OfViewer):
    """Let a note not count."""

    tag = "papers"

    @act(
        "border_note_refuse",
        "Refuse a border note",
        BorderNoteOut,
        example={**CONFIRMED, "state": "refused", "counts": False},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> BorderNote:
        """For coordinators. A confirmed one no longer counts; this is for good, another can be proposed."""
        return border_note_refuse(actor=call.grower, note=call.row)
