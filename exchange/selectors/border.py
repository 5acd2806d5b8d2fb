"""The papers line of a pairing across a border: what is on file, how old it is, and never permission."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, PollenOffer
from exchange.models import BorderNote

TRUSTED_DAYS = 365
"""An older note counts as unknown: lists change yearly (judgement)."""


@dataclass(frozen=True)
class BorderNotes:
    """All notes as of one day."""

    notes: tuple[BorderNote, ...]
    today: date

    def forbidding(self, offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
        """The note that forbids this pairing, if one that is not too old does."""
        found = [note for note in self._about(offer, wanted) if note.kind == BorderNote.Kind.FORBIDDEN]
        current = [note for note in found if self._is_current(note)]
        return Reason("papers_forbidden", self._facts(offer, wanted, current[0])) if current else None

    def papers(self, offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
        """The papers line; never empty across a border, None inside one country."""
        if offer.country == wanted.country:
            return None
        about = self._about(offer, wanted)
        current = [note for note in about if self._is_current(note)]
        if current:
            return Reason("papers_note_on_file", self._facts(offer, wanted, current[0]))
        if about:
            return Reason("papers_note_old", self._facts(offer, wanted, about[0]))
        places = {"origin": offer.country, "destination": wanted.country}
        return Reason("papers_nothing_on_file", places)

    def _about(self, offer: PollenOffer, wanted: CrossWanted) -> list[BorderNote]:
        """Notes about this plant on this way, the latest first."""
        if offer.country == wanted.country:
            return []
        return [
            note
            for note in self.notes
            if note.destination == wanted.country
            and note.origin in ("", offer.country)
            and (note.taxon is None or note.taxon.name == offer.parent.taxon)
        ]

    def _is_current(self, note: BorderNote) -> bool:
        expired = note.expires_on is not None and note.expires_on < self.today
        return not expired and self.today - note.checked_on <= timedelta(days=TRUSTED_DAYS)

    def _facts(self, offer: PollenOffer, wanted: CrossWanted, note: BorderNote) -> dict[str, str]:
        return {
            "origin": offer.country,
            "destination": wanted.country,
            "text": note.text,
            "source": note.source,
            "checked_on": note.checked_on.isoformat(),
        }


def border_notes(today: date) -> BorderNotes:
    """All notes known on a day, the latest check first."""
    rows: Iterable[BorderNote] = (
        BorderNote.objects.filter(checked_on__lte=today).select_related("taxon").order_by("-checked_on", "pk")
    )
    return BorderNotes(tuple(rows), today)
