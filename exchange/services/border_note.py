"""Border notes: what was read or asked about plants crossing a border, with source and date."""

from datetime import date
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import BorderNote
from growers import clock, place
from growers.models import Change, Site, Taxon
from growers.services import after_commit, change
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set


class BorderNoteFields(TypedDict, total=False):
    """What a note says."""

    kind: str
    taxon: Taxon | None
    origin: str
    destination: str
    text: str
    source: str
    checked_on: date
    expires_on: date | None
    invented: bool


def border_note_create(**fields: Unpack[BorderNoteFields]) -> BorderNote:
    """Put a note on file; not an action of growers, who propose notes and have them confirmed.

    Raises ``InvalidInput`` for unknown countries, a note without source, or a check in the future.
    """
    with transaction.atomic():
        note = BorderNote()
        fields_set(note, fields, BorderNoteFields.__annotations__)
        _note_check(note)
        note.save()
        _announce(note)
    return note


def _announce(note: BorderNote) -> None:
    """Note what it touches: the plants of its taxon, or else every site behind the border."""
    if note.taxon is not None:
        change.note(Change.Kind.TAXON, note.taxon)
    else:
        change.note_all(Change.Kind.SITE, Site.objects.filter(cell_country=note.destination))
    after_commit.start("exchange.matching")


def _note_check(note: BorderNote) -> None:
    problems = Problems()
    columns_check(note, problems, ranges={}, names=BorderNoteFields.__annotations__)
    allowed = "an ISO 3166 code of two capital letters such as FR"
    if note.origin and note.origin not in place.countries():
        problems.add("origin", note.origin, allowed)
    if note.destination not in place.countries():
        problems.add("destination", note.destination, allowed)
    today = clock.now().date()
    if not problems.has("checked_on") and note.checked_on > today:
        problems.add("checked_on", note.checked_on, f"a day up to today, {today}")
    problems.refuse_if_any()
