"""What stands now for an agreement: its pairing of today, and who else could send pollen."""

from django.db.models import QuerySet

from exchange.models import Agreement, Pairing
from exchange.selectors.block import hidden_from

State = Agreement.State


def standing_pairing(agreement: Agreement) -> Pairing | None:
    """The pairing of an agreement's offer and wanted cross that stands now."""
    same = {"offer": agreement.offer_id, "wanted_cross": agreement.wanted_cross_id}
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED, **same)
    return rows.select_related("offer__plant__site").first()


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
