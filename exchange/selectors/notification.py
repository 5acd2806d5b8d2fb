"""Notifications as their grower reads them: a code, a sentence in the grower's language, the figures in it.

A notification tells no more than its pairing does: the donor's says nothing of the seed parent or of who
asks, see :mod:`exchange.selectors.pairing`.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, cast
from uuid import UUID

from django.db.models import Exists, QuerySet
from django.utils import translation

from exchange.models import Notification, Pairing
from exchange.selectors.block import blocks_of_event, notifications_open
from exchange.wording.notification import notification_sentence
from growers.models import Grower
from growers.selectors.site import region


@dataclass(frozen=True, slots=True)
class About:
    """What a notification is about: a kind of thing and its id."""

    kind: str
    id: UUID


@dataclass(frozen=True, slots=True)
class NotificationForGrower:
    """One notification for the grower whom it is for."""

    public_id: UUID
    code: str
    detail: str
    parameters: Mapping[str, Any]
    about: About | None
    told_at: datetime
    read_at: datetime | None


def notifications_of(grower: Grower) -> QuerySet[Notification]:
    """What a grower was told, with all that its sentences need; nothing about a grower hidden from them."""
    rows = notifications_open(grower).annotate(is_hidden=Exists(blocks_of_event(grower)))
    return rows.select_related(
        "grower",
        "pairing__offer__plant__grower",
        "pairing__offer__plant__site",
        "pairing__wanted_cross__seed_parent__site",
        "event__agreement__offer__plant__site",
        "event__agreement__wanted_cross__seed_parent__site",
        "event__agreement__donor",
        "event__agreement__recipient",
        "offer__plant",
        "custody_event__lot__plant",
        "recall__plant",
    )


def notification_for(row: Notification) -> NotificationForGrower:
    """A loaded notification for its grower; no query."""
    with translation.override(row.grower.language):
        sentence = notification_sentence(row)
    return NotificationForGrower(
        public_id=row.public_id,
        code=row.kind,
        detail=sentence,
        parameters=_parameters(row),
        about=_about(row),
        told_at=row.created_at,
        read_at=row.read_at,
    )


def _about(row: Notification) -> About | None:
    """Where it can be read; nowhere any more if the other has been hidden with it."""
    if row.is_hidden:  # type: ignore[attr-defined]
        return None
    if row.event is not None:
        deal = row.event.agreement
        is_side = row.grower_id in (deal.donor_id, deal.recipient_id)
        return About("agreement" if is_side else "detour", deal.public_id)
    if row.offer is not None:
        return About("offer", row.offer.public_id)
    if row.custody_event is not None:
        return About("lot", row.custody_event.lot.public_id)
    if row.recall is not None:
        return About("recall", row.recall.public_id)
    return About("pairing", cast(Pairing, row.pairing).public_id)


def _parameters(row: Notification) -> dict[str, Any]:
    if row.event is not None:
        plant = row.event.agreement.offer.plant
        return {"event": row.event.kind, "plant": plant.name_as_grown, **row.event.parameters}
    if row.offer is not None:
        return {"plant": row.offer.plant.name_as_grown}
    if row.custody_event is not None:
        event = row.custody_event
        return {
            "event": event.kind,
            "plant": event.lot.plant.name_as_grown,
            "code": event.lot.code,
            **event.parameters,
        }
    if row.recall is not None:
        return {"plant": row.recall.plant.name_as_grown, "kind": row.recall.kind}
    return _of_pairing(row, cast(Pairing, row.pairing))


def _of_pairing(row: Notification, pairing: Pairing) -> dict[str, Any]:
    plant, seed_parent = pairing.offer.plant, pairing.wanted_cross.seed_parent
    if plant.grower_id == row.grower_id:
        return {"plant": plant.name_as_grown, "region": asdict(region(seed_parent.site)), **_plan(pairing)}
    return {
        "plant": plant.name_as_grown,
        "donor": plant.grower.handle,
        "region": asdict(region(plant.site)),
        "seed_parent": seed_parent.name_as_grown,
        **_plan(pairing),
    }


def _plan(pairing: Pairing) -> dict[str, Any]:
    """Dates with their precision and the chance, as they were when it was told."""
    days = {"post_on": pairing.post_on, "not_later_than": pairing.not_later_than}
    stated = {name: day.isoformat() if day else None for name, day in days.items()}
    return {"precision": pairing.plan["precision"], **stated, "chance_each_flower": pairing.chance}
