"""Why a pairing went, where both growers are told: a border note forbids it now."""

from collections.abc import Sequence

from exchange.models import BorderNote, Pairing
from exchange.selectors.border import BorderNotes, way_between
from exchange.selectors.plan_record import reason_records


def withdrawn_explain(gone: Sequence[Pairing], notes: BorderNotes) -> None:
    """Note on pairings that no longer hold which note forbids them, if one does; in the run's transaction."""
    if not any(note.kind == BorderNote.Kind.FORBIDDEN for note in notes.notes):
        return
    rows = Pairing.objects.filter(pk__in=[pairing.pk for pairing in gone]).select_related(
        "offer__plant__site", "offer__plant__taxon", "wanted_cross__seed_parent__site"
    )
    for row in rows:
        found = notes.forbidding_on(way_between(row.offer, row.wanted_cross))
        if found is not None:
            row.withdrawn_because = reason_records([found])[0]
            row.save(update_fields=["withdrawn_because"])
