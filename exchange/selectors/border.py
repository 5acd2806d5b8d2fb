"""The papers line of a pairing across a border: what is on file, how old it is, and never permission."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet

from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, PollenOffer
from exchange.models import BorderNote, Offer, WantedCross
from exchange.models.offer import OpenState

TRUSTED_DAYS = 365
"""An older note counts as unknown: lists change yearly (judgement)."""


@dataclass(frozen=True)
class Way:
    """Pollen of a taxon (blank where it has none) on its way from a country to another, or within one."""

    origin: str
    destination: str
    taxon: str = ""


def way_between(offer: Offer, wanted_cross: WantedCross) -> Way:
    """The way from an offer's plant to a seed parent; their sites and the taxon are loaded."""
    plant, seed_parent = offer.plant, wanted_cross.seed_parent
    taxon = plant.taxon.name if plant.taxon else ""
    return Way(plant.site.cell_country, seed_parent.site.cell_country, taxon)


@dataclass(frozen=True)
class BorderNotes:
    """All notes that count, as of one day."""

    notes: tuple[BorderNote, ...]
    today: date

    def forbidding(self, offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
        """The note that forbids this pairing, if one that is not too old does."""
        return self.forbidding_on(_way(offer, wanted))

    def papers(self, offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
        """The papers line of a pairing that nothing forbids."""
        return self.papers_on(_way(offer, wanted))

    def line_on(self, way: Way) -> Reason | None:
        """What is on file for a way, first of all what forbids it; None inside one country alone."""
        return self.forbidding_on(way) or self.papers_on(way)

    def forbidding_on(self, way: Way) -> Reason | None:
        """The note that forbids a way, if one that is not too old does."""
        found = [note for note in self._about(way) if note.kind == BorderNote.Kind.FORBIDDEN]
        current = [note for note in found if is_current(note, self.today)]
        return Reason("papers_forbidden", _facts(way, current[0])) if current else None

    def papers_on(self, way: Way) -> Reason | None:
        """The papers line; never empty across a border, None inside one country."""
        if way.origin == way.destination:
            return None
        about = self._about(way)
        current = [note for note in about if is_current(note, self.today)]
        if current:
            return Reason("papers_note_on_file", _facts(way, current[0]))
        if about:
            return Reason("papers_note_old", _facts(way, about[0]))
        return Reason("papers_nothing_on_file", {"origin": way.origin, "destination": way.destination})

    def _about(self, way: Way) -> list[BorderNote]:
        """Notes about this plant on this way, the latest first."""
        if way.origin == way.destination:
            return []
        return [
            note
            for note in self.notes
            if note.destination == way.destination
            and note.origin in ("", way.origin)
            and (note.taxon is None or note.taxon.name == way.taxon)
        ]


def border_notes(today: date) -> BorderNotes:
    """All confirmed notes known on a day, the latest check first."""
    confirmed = BorderNote.objects.filter(state=BorderNote.State.CONFIRMED, checked_on__lte=today)
    rows: Iterable[BorderNote] = confirmed.select_related("taxon").order_by("-checked_on", "pk")
    return BorderNotes(tuple(rows), today)


def offers_concerned(note: BorderNote) -> QuerySet[Offer]:
    """Open offers that a note may be about, as far as their country tells."""
    offers = Offer.objects.filter(state=OpenState.OPEN)
    return offers.filter(plant__site__cell_country=note.origin) if note.origin else offers


def is_current(note: BorderNote, today: date) -> bool:
    """Whether a note is neither past its own end nor older than a year."""
    expired = note.expires_on is not None and note.expires_on < today
    return not expired and today - note.checked_on <= timedelta(days=TRUSTED_DAYS)


def _way(offer: PollenOffer, wanted: CrossWanted) -> Way:
    return Way(offer.country, wanted.country, offer.parent.taxon)


def _facts(way: Way, note: BorderNote) -> dict[str, str]:
    return {
        "origin": way.origin,
        "destination": way.destination,
        "text": note.text,
        "source": note.source,
        "checked_on": note.checked_on.isoformat(),
    }
