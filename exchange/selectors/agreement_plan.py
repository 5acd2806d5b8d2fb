"""What stands now for an agreement: its pairing of today, and who else could send pollen."""

from collections.abc import Iterable
from copy import copy
from datetime import date

from django.db.models import QuerySet

from exchange.models import Agreement, Detour, Pairing
from exchange.selectors.block import hidden_from

State = Agreement.State
Standing = dict[tuple[int, int], Pairing]


def standing_pairing(agreement: Agreement) -> Pairing | None:
    """The pairing of an agreement's offer and wanted cross that stands now."""
    same = {"offer": agreement.offer_id, "wanted_cross": agreement.wanted_cross_id}
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED, **same)
    return rows.select_related("offer__plant__site").first()


def standing_pairings(agreements: Iterable[Agreement]) -> Standing:
    """The same for several, by the ids of offer and wanted cross, with some of no agreement; two queries.

    Of an agreement that goes by way of a steward the plan is that of this way.
    """
    deals = list(agreements)
    pairs = [(row.offer_id, row.wanted_cross_id) for row in deals]
    offers, wanted = ({pair[side] for pair in pairs} for side in (0, 1))
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED, offer__in=offers, wanted_cross__in=wanted)
    found = {(row.offer_id, row.wanted_cross_id): row for row in rows}
    return found | _by_way(deals, found)


def _by_way(agreements: list[Agreement], found: Standing) -> Standing:
    """Those that go by way of a steward, with the plan of this way; copies that are never saved."""
    rows = Detour.objects.filter(agreement__in=agreements, state=Detour.State.AGREED)
    changed = {}
    for detour in rows.select_related("agreement"):
        key = detour.agreement.offer_id, detour.agreement.wanted_cross_id
        if key in found:
            changed[key] = _planned_by_way(found[key], detour)
    return changed


def _planned_by_way(pairing: Pairing, detour: Detour) -> Pairing:
    other = copy(pairing)
    other.plan = {**pairing.plan, **detour.plan}
    dates = other.plan["dates"]
    other.post_on = date.fromisoformat(dates["post_on"]) if dates else None
    other.not_later_than = detour.not_later_than
    return other


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
