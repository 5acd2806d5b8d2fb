"""Whom a recall reaches: everyone who holds pollen or descendants of a plant, and what they hold of it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from exchange.models import Lot, Packet, Recall, RecallNotice, Reservation
from exchange.wording.recall import recall_sentence
from growers.models import Grower, Plant


@dataclass
class Held:
    """What one grower holds: codes of lots, of packets with their number, and numbers of own plants."""

    lots: set[str] = field(default_factory=set)
    packets: set[str] = field(default_factory=set)
    plants: set[str] = field(default_factory=set)

    def as_record(self) -> dict[str, list[str]]:
        """In order, for the notice."""
        return {name: sorted(getattr(self, name)) for name in ("lots", "packets", "plants")}


@dataclass(frozen=True, slots=True)
class RecallForViewer:
    """A recall for whoever reported it or was told."""

    public_id: UUID
    kind: str
    found_on: date
    plant_name: str
    detail: str
    reported_by_you: bool
    told_at: datetime
    told: int | None
    held: Mapping[str, Any] | None


def descent_of(plant: Plant) -> set[int]:
    """Keys of a plant and of all that descend from it by either parent; a query a generation."""
    reached, last = {plant.pk}, {plant.pk}
    while last:
        parents = Q(seed_parent__in=last) | Q(pollen_parent__in=last)
        last = set(Plant.objects.filter(parents).values_list("pk", flat=True)) - reached
        reached |= last
    return reached


def holders_of(plant: Plant) -> dict[int, Held]:
    """By grower's key, what they hold that comes from a plant; a lot belongs to its plant's grower.

    Whoever was sent doses holds of their lot, packet or not; whoever has a descendant holds that plant.
    """
    plants = descent_of(plant)
    found: dict[int, Held] = defaultdict(Held)
    for key, number in Plant.objects.filter(pk__in=plants).values_list("grower", "number"):
        found[key].plants.add(number)
    lots = Lot.objects.filter(plant__in=plants)
    for key, code in lots.values_list("plant__grower", "code"):
        found[key].lots.add(code)
    sent = Reservation.objects.filter(state=Reservation.State.USED, supply__lot__in=lots)
    for key, code in sent.values_list("agreement__recipient", "supply__lot__code"):
        found[key].lots.add(code)
    packets = Packet.objects.filter(lot__in=lots)
    for key, code, packet_number in packets.values_list("holder", "lot__code", "number"):
        found[key].packets.add(f"{code} {packet_number}")
    return dict(found)


def recalls_known(grower: Grower) -> QuerySet[Recall]:
    """Recalls that a grower reported or was told of."""
    mine = Prefetch("notices", RecallNotice.objects.filter(grower=grower), to_attr="own_notices")
    known = Q(reported_by=grower) | Q(notices__grower=grower)
    return Recall.objects.filter(known).distinct().select_related("plant").prefetch_related(mine)


def recalls_for(viewer: Grower, recalls: Iterable[Recall]) -> list[RecallForViewer]:
    """Loaded recalls for their viewer; one query for the numbers of those told."""
    rows = list(recalls)
    own = [row.pk for row in rows if row.reported_by_id == viewer.pk]
    told: dict[int, int] = defaultdict(int)
    for key in RecallNotice.objects.filter(recall__in=own).values_list("recall", flat=True):
        told[key] += 1
    return [_for(viewer, row, told) for row in rows]


def _for(viewer: Grower, recall: Recall, told: Mapping[int, int]) -> RecallForViewer:
    notices: list[RecallNotice] = recall.own_notices  # type: ignore[attr-defined]
    own = recall.reported_by_id == viewer.pk
    return RecallForViewer(
        public_id=recall.public_id,
        kind=recall.kind,
        found_on=recall.found_on,
        plant_name=recall.plant.name_as_grown,
        detail=recall_sentence(recall),
        reported_by_you=own,
        told_at=notices[0].created_at if notices else recall.created_at,
        told=told[recall.pk] if own else None,
        held=notices[0].held if notices else None,
    )
