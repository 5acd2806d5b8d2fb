"""Notes beside agreements, as the two growers read them, and the reported ones for coordinators."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from exchange.models import AgreementNote
from exchange.selectors.agreement import agreements_of
from growers.models import Grower


@dataclass(frozen=True, slots=True)
class NoteForViewer:
    """One note for one of the two; the other is not named, they may not know each other's handle yet."""

    public_id: UUID
    created_at: datetime
    by: str
    text: str
    reported_by_you: bool


def notes_of(grower: Grower) -> QuerySet[AgreementNote]:
    """The notes of all agreements that a grower is a side of; blocked ones are hidden."""
    own = agreements_of(grower).order_by().values("pk")
    return AgreementNote.objects.filter(agreement__in=own)


def notes_for(viewer: Grower, notes: Iterable[AgreementNote]) -> list[NoteForViewer]:
    """Loaded notes for the eyes of one of the two."""
    return [_for_viewer(viewer, note) for note in notes]


def notes_reported() -> QuerySet[AgreementNote]:
    """What coordinators read: reported notes with the handles of both growers, and no other note."""
    return AgreementNote.objects.filter(reported_at__isnull=False).select_related("author", "reported_by")


def _for_viewer(viewer: Grower, note: AgreementNote) -> NoteForViewer:
    return NoteForViewer(
        public_id=note.public_id,
        created_at=note.created_at,
        by="you" if note.author_id == viewer.pk else "other",
        text=note.text,
        reported_by_you=note.reported_by_id == viewer.pk,
    )
