"""Agreements as each of the two growers reads them.

Before both have said yes the donor knows of the recipient a region and nothing else; then both know handle
and plants. Addresses are never here: they are read in a logged call of their own.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from exchange.models import Agreement, AgreementEvent, Reservation
from exchange.selectors.agreement_plan import crosses_border
from exchange.selectors.block import hidden_from
from exchange.wording.agreement import event_sentence, own_event_sentence, reason_sentence
from growers import clock
from growers.models import Grower
from growers.selectors.plant import PlantForOthers, plants_for_others
from growers.selectors.site import Region, region

Role = Literal["donor", "recipient"]
State = Agreement.State
Record = Mapping[str, Any]


TOLD_TO_ONE: Mapping[str, Role] = {
    AgreementEvent.Kind.NEXT_DONOR_SHOWN: "recipient",
    AgreementEvent.Kind.DONOR_SILENT: "recipient",
    AgreementEvent.Kind.HAS_IT_COME: "recipient",
    AgreementEvent.Kind.BUD_CALL: "donor",
}


@dataclass(frozen=True, slots=True)
class EventTold:
    """One thing that happened: when, by whom, in a sentence for its reader."""

    kind: str
    at: datetime
    by: str
    detail: str
    parameters: Record


@dataclass(frozen=True, slots=True)
class AgreementForViewer:
    """One agreement for one of its growers; what is not theirs to read is None."""

    public_id: UUID
    role: Role
    state: str
    pairing_id: UUID
    offer_id: UUID
    plant: PlantForOthers
    donor: str
    recipient: str | None
    region: Region
    wanted_cross_id: UUID | None
    seed_parent: str | None
    proposed_by_you: bool
    doses: int
    terms: tuple[Record, ...]
    terms_worded_at: datetime | None
    post_from: str | None
    crosses_border: bool
    created_at: datetime
    changed_at: datetime
    lapses_at: datetime | None
    agreed_at: datetime | None
    reserved_until: datetime | None
    sent: bool
    ended_at: datetime | None
    end_reason: str | None
    end_sentence: str | None
    events: tuple[EventTold, ...]


def agreements_of(grower: Grower) -> QuerySet[Agreement]:
    """The agreements that a grower is a side of, with all that is shown of them; blocked ones are hidden."""
    hidden = hidden_from(grower)
    mine = Q(donor=grower) & ~Q(recipient__in=hidden) | Q(recipient=grower) & ~Q(donor__in=hidden)
    rows = Agreement.objects.filter(mine).select_related(
        "pairing",
        "offer__plant__site",
        "offer__plant__taxon",
        "wanted_cross__seed_parent__site",
        "donor",
        "recipient",
    )
    events = Prefetch("events", AgreementEvent.objects.select_related("actor").order_by("pk"))
    return rows.prefetch_related("reservations", events)


def in_state(rows: QuerySet[Agreement], state: str, now: datetime) -> QuerySet[Agreement]:
    """Those in a state as it reads now: what has run out counts as lapsed, swept or not."""
    past = Q(state=State.PROPOSED, lapses_at__lte=now) | Q(state=State.AGREED) & Exists(_run_out(now))
    if state == State.LAPSED:
        return rows.filter(Q(state=State.LAPSED) | past)
    return rows.filter(state=state).exclude(past)


def agreements_for(viewer: Grower, agreements: Iterable[Agreement]) -> list[AgreementForViewer]:
    """Loaded agreements for the eyes of one of their growers; one query for all."""
    rows, now = list(agreements), clock.now()
    plants = plants_for_others({row.offer.plant_id for row in rows})
    return [_for_viewer(viewer, row, plants[row.offer.plant_id], now) for row in rows]


def state_now(agreement: Agreement, now: datetime) -> str:
    """The state as it reads now; reservations are loaded."""
    if agreement.state == State.PROPOSED and agreement.lapses_at <= now:
        return State.LAPSED
    active = _active(agreement)
    if agreement.state == State.AGREED and active is not None and active.reserved_until <= now:
        return State.LAPSED
    return agreement.state


def _run_out(now: datetime) -> QuerySet[Reservation]:
    return Reservation.objects.filter(
        agreement=OuterRef("pk"), state=Reservation.State.ACTIVE, reserved_until__lte=now
    )


def _active(agreement: Agreement) -> Reservation | None:
    rows = agreement.reservations.all()
    return next((row for row in rows if row.state == Reservation.State.ACTIVE), None)


def _for_viewer(viewer: Grower, row: Agreement, plant: PlantForOthers, now: datetime) -> AgreementForViewer:
    role: Role = "donor" if viewer.pk == row.donor_id else "recipient"
    known = role == "recipient" or row.agreed_at is not None
    active, state = _active(row), state_now(row, now)
    seed_parent = row.wanted_cross.seed_parent
    other = seed_parent.site if role == "donor" else row.offer.plant.site
    return AgreementForViewer(
        public_id=row.public_id,
        role=role,
        state=state,
        pairing_id=row.pairing.public_id,
        offer_id=row.offer.public_id,
        plant=plant,
        donor=row.donor.handle,
        recipient=row.recipient.handle if known else None,
        region=region(other),
        wanted_cross_id=row.wanted_cross.public_id if role == "recipient" else None,
        seed_parent=seed_parent.name_as_grown if known else None,
        proposed_by_you=row.proposed_by_id == viewer.pk,
        doses=row.doses,
        terms=tuple(row.terms),
        terms_worded_at=row.terms_worded_at,
        post_from=row.post_from or None,
        crosses_border=crosses_border(row),
        created_at=row.created_at,
        changed_at=row.changed_at,
        lapses_at=row.lapses_at if state == State.PROPOSED else None,
        agreed_at=row.agreed_at,
        reserved_until=active.reserved_until if active is not None and state == State.AGREED else None,
        sent=any(each.state == Reservation.State.USED for each in row.reservations.all()),
        ended_at=row.ended_at,
        end_reason=row.end_reason or None,
        end_sentence=reason_sentence(row.end_reason) or None,
        events=tuple(_told(viewer, row, event) for event in row.events.all() if _concerns(event, role)),
    )


def _concerns(event: AgreementEvent, role: Role) -> bool:
    """Whether it is for this side: some things only one of them is told or asked."""
    if event.kind == AgreementEvent.Kind.HAS_IT_COME and "leg" in event.parameters:
        return False
    return TOLD_TO_ONE.get(event.kind, role) == role


def _by(viewer: Grower, agreement: Agreement, event: AgreementEvent) -> str:
    if event.actor is None:
        return "time"
    if event.actor_id == viewer.pk:
        return "you"
    return "other" if event.actor_id in (agreement.donor_id, agreement.recipient_id) else "steward"


def _told(viewer: Grower, agreement: Agreement, event: AgreementEvent) -> EventTold:
    event.agreement = agreement
    by = _by(viewer, agreement, event)
    word = own_event_sentence if by == "you" else event_sentence
    return EventTold(event.kind, event.created_at, by, word(event, viewer), event.parameters)
