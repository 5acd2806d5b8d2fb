"""Border notes as growers and coordinators read them; who proposed one is shown to nobody."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from exchange.models import BorderNote
from exchange.selectors.border import is_current
from exchange.selectors.coordinator import is_coordinator
from growers.models import Grower, Taxon


@dataclass(frozen=True, slots=True)
class BorderNoteForViewer:
    """One note; whom its proposer asked is for the proposer and coordinators alone."""

    public_id: UUID
    state: str
    kind: str
    taxon: Taxon | None
    origin: str | None
    destination: str
    text: str
    source: str
    asked_whom: str | None
    checked_on: date
    expires_on: date | None
    counts: bool
    proposed_by_you: bool
    invented: bool


def border_notes_of(viewer: Grower) -> QuerySet[BorderNote]:
    """Confirmed notes and the viewer's own; a coordinator reads those that wait or were refused too."""
    rows = BorderNote.objects.select_related("taxon")
    if is_coordinator(viewer):
        return rows
    return rows.filter(Q(state=BorderNote.State.CONFIRMED) | Q(proposed_by=viewer))


def concerning(
    rows: QuerySet[BorderNote], *, taxon: UUID | None = None, origin: str = "", destination: str = ""
) -> QuerySet[BorderNote]:
    """Notes that concern a taxon and a way: those about any taxon, or from anywhere, too."""
    if taxon is not None:
        rows = rows.filter(Q(taxon__public_id=taxon) | Q(taxon=None))
    if origin:
        rows = rows.filter(origin__in=("", origin))
    return rows.filter(destination=destination) if destination else rows


def border_notes_for(viewer: Grower, notes: Iterable[BorderNote], today: date) -> list[BorderNoteForViewer]:
    """Loaded notes for the eyes of a grower; ``counts`` is whether matching heeds it today."""
    trusted = is_coordinator(viewer)
    return [_for_viewer(viewer, note, today, trusted=trusted) for note in notes]


def _for_viewer(viewer: Grower, note: BorderNote, today: date, *, trusted: bool) -> BorderNoteForViewer:
    is_own = note.proposed_by_id == viewer.pk
    return BorderNoteForViewer(
        public_id=note.public_id,
        state=note.state,
        kind=note.kind,
        taxon=note.taxon,
        origin=note.origin or None,
        destination=note.destination,
        text=note.text,
        source=note.source,
        asked_whom=note.asked_whom or None if is_own or trusted else None,
        checked_on=note.checked_on,
        expires_on=note.expires_on,
        counts=note.state == BorderNote.State.CONFIRMED and is_current(note, today),
        proposed_by_you=is_own,
        invented=note.invented,
    )
