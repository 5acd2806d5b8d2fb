"""Notes beside agreements: a short talk of the two growers, and what they report of it."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, create, page, read
from exchange.api.resource import Resource
from exchange.api.strict import StrictSerializer, Text
from exchange.api.v1.matching_run import ForCoordinators
from exchange.models import Agreement, AgreementNote
from exchange.selectors.agreement import agreements_of
from exchange.selectors.agreement_note import NoteForViewer, notes_for, notes_of, notes_reported
from exchange.services.agreement_note import note_report, note_write
from growers.models import Grower

LONGEST_NOTE = 1000
NOTE: dict[str, Any] = {
    "id": "1f2e3d4c-5b6a-4798-8a9b-0c1d2e3f4a5b",
    "created_at": "2027-07-02T18:00:00Z",
    "by": "other",
    "text": "It opens about eight in the morning here.\nShall I post on Monday?",
    "reported_by_you": False,
}
REPORTED: dict[str, Any] = {
    "id": NOTE["id"],
    "created_at": NOTE["created_at"],
    "author": "pond by the mill",
    "text": "Send it or else.",
    "reported_by": "lake house",
    "reported_at": "2027-07-02T19:00:00Z",
    "reason": "a threat",
}


class NoteOut(serializers.Serializer[Any]):
    """A note of either of the two."""

    id = serializers.UUIDField(source="public_id")
    created_at = serializers.DateTimeField()
    by = serializers.ChoiceField([(word, word) for word in ("you", "other")])
    text = serializers.CharField(help_text="Plain text; show it as such.")
    reported_by_you = serializers.BooleanField()


class NoteIn(StrictSerializer):
    """Plain text with line breaks."""

    text = Text(max_length=LONGEST_NOTE, help_text="No links or e-mail addresses before both have said yes.")


class ReportIn(StrictSerializer):
    """Why coordinators should read it."""

    reason = Text(max_length=300)


class ReportedNoteOut(serializers.Serializer[Any]):
    """A reported note for coordinators: who wrote and who reported it, by handle."""

    id = serializers.UUIDField(source="public_id")
    created_at = serializers.DateTimeField()
    author = serializers.CharField(source="author.handle")
    text = serializers.CharField()
    reported_by = serializers.CharField(source="reported_by.handle")
    reported_at = serializers.DateTimeField()
    reason = serializers.CharField(source="report_reason")


class OfTwo(Resource):
    """Notes for the eyes of one of the two."""

    tag = "notes"

    def represent(self, row: AgreementNote) -> NoteForViewer:
        """Who wrote it, as you or the other."""
        return notes_for(self.viewer, [row])[0]

    def represent_each(self, rows: list[Any]) -> Iterable[NoteForViewer]:
        """All of a page."""
        return notes_for(self.viewer, rows)

    @property
    def viewer(self) -> Grower:
        """Who asks."""
        return cast(Grower, self.request.user)


class AgreementNotes(OfTwo):
    """The notes of one agreement."""

    def rows(self, call: Call) -> QuerySet[Agreement]:
        """Agreements that the viewer is a side of."""
        return agreements_of(call.grower)

    @page(
        "agreement_note_list",
        "Notes of an agreement",
        NoteOut,
        example=NOTE,
        order=("-created_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[AgreementNote]:
        """Newest first; they stay readable when the agreement is over."""
        return notes_of(call.grower).filter(agreement=call.row)

    @create(
        "agreement_note_create",
        "Write a note",
        NoteIn,
        NoteOut,
        example={**NOTE, "by": "you"},
        body_example={"text": NOTE["text"]},
        problems=("not_found", "conflict"),
        at="agreement_note",
    )
    def post(self, call: Call) -> AgreementNote:
        """To the other side of an agreement that lives; they are told once. At most 20 in 24 hours."""
        return note_write(actor=call.grower, agreement=call.row, **call.data)


class OfNote(OfTwo):
    """What belongs to one note."""

    def rows(self, call: Call) -> QuerySet[AgreementNote]:
        """Of the viewer's agreements."""
        return notes_of(call.grower)


class AgreementNoteItem(OfNote):
    """One note."""

    @read("agreement_note_read", "One note", NoteOut, example=NOTE, problems=("not_found",))
    def get(self, call: Call) -> AgreementNote:
        """Of one of your agreements."""
        return call.row  # type: ignore[no-any-return]


class AgreementNoteReport(OfNote):
    """Report a note."""

    @act(
        "agreement_note_report",
        "Report a note of the other's",
        NoteOut,
        body=ReportIn,
        example={**NOTE, "reported_by_you": True},
        body_example={"reason": "a threat"},
        problems=("not_found", "conflict", "invalid_input"),
    )
    def post(self, call: Call) -> AgreementNote:
        """Coordinators read it then, with both handles; the other is not told. Report before you block."""
        return note_report(actor=call.grower, note=call.row, **call.data)


class ReportedNotes(ForCoordinators):
    """What growers have reported."""

    tag = "notes"

    @page(
        "reported_note_list",
        "Reported notes",
        ReportedNoteOut,
        example=REPORTED,
        order=("-reported_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[AgreementNote]:
        """For coordinators, newest first: reported notes and no others; never a place or an address."""
        return notes_reported()
