"""Border notes: what was read or asked about plants crossing a border, with source and date.

A grower who has just asked an authority proposes a note; it counts once a coordinator has confirmed it.
"""

from datetime import date, timedelta
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import BorderNote
from exchange.selectors.border import TRUSTED_DAYS, offers_concerned
from exchange.services.coordinator import coordinator_only
from exchange.services.state_table import Table, state_after
from exchange.wording.papers import READS_AS_LEAVE
from growers import clock, place
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower, Taxon
from growers.services import after_commit, change
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

State = BorderNote.State

ALLOWED: Table = {
    State.PROPOSED: frozenset({State.CONFIRMED, State.REFUSED}),
    State.CONFIRMED: frozenset({State.REFUSED}),
    State.REFUSED: frozenset(),
}
MOST_PROPOSED = 20
"""Notes of one grower that wait for a coordinator (judgement)."""


class BorderNoteFields(TypedDict, total=False):
    """What a note says."""

    kind: str
    taxon: Taxon | None
    origin: str
    destination: str
    text: str
    source: str
    asked_whom: str
    checked_on: date
    expires_on: date | None
    invented: bool


def border_note_create(**fields: Unpack[BorderNoteFields]) -> BorderNote:
    """Put a note on file; not an action of growers, who propose notes and have them confirmed.

    Raises ``InvalidInput`` for unknown countries, a note without source, a check in the future, or words
    that would read as leave to send.
    """
    with transaction.atomic():
        note = BorderNote()
        fields_set(note, fields, BorderNoteFields.__annotations__)
        _note_check(note)
        note.save()
        _announce(note)
    return note


def border_note_propose(*, actor: Grower, **fields: Unpack[BorderNoteFields]) -> BorderNote:
    """Propose what one has just asked; it counts nowhere before a coordinator confirms it.

    Raises ``InvalidInput`` as for a note on file, without ``asked_whom``, or for a check of more than twelve
    months ago; ``Conflict`` while too many of one's notes wait.
    """
    with transaction.atomic():
        note = BorderNote(state=State.PROPOSED, proposed_by=open_grower(actor))
        fields_set(note, fields, set(BorderNoteFields.__annotations__) - {"invented"})
        _note_check(note, proposed=True)
        waiting = BorderNote.objects.filter(proposed_by=actor, state=State.PROPOSED)
        if waiting.count() >= MOST_PROPOSED:
            raise Conflict(f"{MOST_PROPOSED} of your notes wait for a coordinator; propose more after that.")
        note.save()
    return note


def border_note_confirm(*, actor: Grower, note: BorderNote) -> BorderNote:
    """Let a proposed note count; once more is no change. ``NotFound`` for all but coordinators."""
    return _decide(actor, note, State.CONFIRMED)


def border_note_refuse(*, actor: Grower, note: BorderNote) -> BorderNote:
    """Let a note not count, or no longer; once more is no change. ``NotFound`` for all but coordinators."""
    return _decide(actor, note, State.REFUSED)


def _decide(actor: Grower, note: BorderNote, state: State) -> BorderNote:
    coordinator_only(actor)
    with transaction.atomic():
        rows = BorderNote.objects.select_for_update(of=("self",)).select_related("taxon")
        found = rows.filter(pk=note.pk).first()
        if found is None:
            raise NotFound("There is no such note.")
        before = found.state
        if before != state:
            found.state = state_after(ALLOWED, before, state, what="note")
            found.decided_by, found.decided_at = actor, clock.now()
            found.save(update_fields=["state", "decided_by", "decided_at"])
            if State.CONFIRMED in (before, state):
                _announce(found)
    return found


def _announce(note: BorderNote) -> None:
    """Have the matching look at what a note is about."""
    if note.taxon is not None:
        change.note(Change.Kind.TAXON, note.taxon)
    else:
        change.note_all(Change.Kind.OFFER, offers_concerned(note))
    after_commit.start("exchange.matching")


def _note_check(note: BorderNote, *, proposed: bool = False) -> None:
    problems = Problems()
    columns_check(note, problems, ranges={}, names=BorderNoteFields.__annotations__)
    allowed = "an ISO 3166 code of two capital letters such as FR"
    if note.origin and note.origin not in place.countries():
        problems.add("origin", note.origin, allowed)
    if note.destination not in place.countries():
        problems.add("destination", note.destination, allowed)
    for name in ("text", "source"):
        _leave_check(note, name, problems)
    if not problems.has("checked_on"):
        _days_check(note, problems, proposed=proposed)
    if proposed and not note.asked_whom:
        problems.add_sentence("asked_whom", "missing", "Say whom you asked: an authority, an office.")
    problems.refuse_if_any()


def _days_check(note: BorderNote, problems: Problems, *, proposed: bool) -> None:
    today = clock.now().date()
    oldest = today - timedelta(days=TRUSTED_DAYS)
    if note.checked_on > today:
        problems.add("checked_on", note.checked_on, f"a day up to today, {today}")
    elif proposed and note.checked_on < oldest:
        problems.add("checked_on", note.checked_on, f"{oldest} or later; what is older counts as unknown")
    if note.expires_on is not None and note.expires_on < note.checked_on:
        problems.add("expires_on", note.expires_on, f"{note.checked_on}, the day it was checked, or later")


def _leave_check(note: BorderNote, name: str, problems: Problems) -> None:
    found = READS_AS_LEAVE.search(getattr(note, name))
    if found is not None and not problems.has(name):
        detail = f"{name} says {found[0]!r}, as if to permit it; say what is forbidden or asked for."
        problems.add_sentence(name, "reads_as_leave", detail, value=found[0])
