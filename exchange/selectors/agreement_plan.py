"""What stands now for an agreement: its pairing of today, and who else could send pollen."""

from collections.abc import Iterable

from django.db.models import QuerySet

from exchange.models import Agreement, Pairing
from exchange.selectors.block import hidden_from

State = Agreement.State


def standing_pairing(agreement: Agreement) -> Pairing | None:
    """The pairing of an agreement's offer and wanted cross that stands now."""
    same = {"offer": agreement.offer_id, "wanted_cross": agreement.wanted_cross_id}
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED, **same)
    return rows.select_related("offer__plant__site").first()


def standing_pairings(agreements: Iterable[Agreement]) -> dict[tuple[int, int], Pairing]:
    """The same for several, by the ids of offer and wanted cross, with some of no agreement; one query."""
    pairs = [(row.offer_id, row.wanted_cross_id) for row in agreements]
    offers, wanted = ({pair[side] for pair in pairs} for side in (0, 1))
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED, offer__in=offers, wanted_cross__in=wanted)
    return {(row.offer_id, row.wanted_cross_id): row for row in rows}


def crosses_border(agreement: Agreement) -> bool:
    """Whether the parcel leaves the donor's country."""
    seed_parent = agreement.wanted_cross.seed_parent
    return bool(agreement.offer.plant.site.cell_country != seed_parent.site.cell_country)


def next_donor(agreement: Agreement) -> Pairing | None:
    """The best other pairing of the same wanted cross that nobody has said yes or no to; the recipient's."""
    rows = _others(agreement).exclude(offer__plant__grower__in=hidden_from(agreement.recipient))
    return rows.order_by("-chance", "pk").first()


def _others(agreement: Agreement) -> QuerySet[Pairing]:
    standing = Pairing.objects.filter(
        wanted_cross=agreement.wanted_cross_id, state=Pairing.State.SUGGESTED
    ).exclude(offer=agreement.offer_id)
    asked = Agreement.objects.filter(wanted_cross=agreement.wanted_cross_id)
    return standing.exclude(offer__in=asked.values("offer"))
