"""Statements on papers: both growers record what they asked and were told; the exchange judges nothing."""

from datetime import date
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import Agreement, AgreementEvent, PapersStatement
from exchange.selectors.agreement_plan import crosses_border
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import ALIVE
from exchange.services.deal import deal_lock
from growers import clock
from growers.errors import Conflict
from growers.models import Grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

Side = PapersStatement.Side
BOTH = ("asked_whom", "asked_on", "answer")
OF_SIDE = {
    Side.DONOR: ("botanical_name", "origin", "origin_detail", "free_of_soil_water_insects", "rights"),
    Side.RECIPIENT: ("papers",),
}
NEEDED = {
    Side.DONOR: ("botanical_name", "origin", "free_of_soil_water_insects", "rights"),
    Side.RECIPIENT: ("papers",),
}


class StatementFields(TypedDict, total=False):
    """What a grower states; each side has fields of its own."""

    botanical_name: str
    origin: str
    origin_detail: str
    free_of_soil_water_insects: bool
    rights: str
    papers: str
    asked_whom: str
    asked_on: date | None
    answer: str


def statement_make(
    *, actor: Grower, agreement: Agreement, **fields: Unpack[StatementFields]
) -> PapersStatement:
    """State one's side of the papers; a later statement replaces an earlier one, which stays on record.

    Raises ``NotFound`` for others, ``Conflict`` for an agreement that is over or stays within a country,
    ``InvalidInput`` for what is missing, belongs to the other side, or was asked in the future.
    """
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        if deal.agreement.state not in ALIVE:
            raise Conflict(f"The agreement is {deal.agreement.state}; there is nothing to state any more.")
        if not crosses_border(deal.agreement):
            raise Conflict("The parcel stays within one country; no statement is asked for.")
        side = Side.DONOR if actor.pk == deal.agreement.donor_id else Side.RECIPIENT
        statement = PapersStatement(
            agreement=deal.agreement, grower=actor, side=side, created_at=deal.now, stated_at=deal.now
        )
        fields_set(statement, fields, StatementFields.__annotations__)
        _check(statement, fields, actor)
        statement.save()
        event_note(deal.agreement, AgreementEvent.Kind.STATEMENT_MADE, actor=actor, now=deal.now, side=side)
    return statement


def _check(statement: PapersStatement, fields: StatementFields, actor: Grower) -> None:
    problems = Problems()
    side = Side(statement.side)
    allowed = (*OF_SIDE[side], *BOTH)
    for name in sorted(set(fields) - set(allowed)):
        problems.add_sentence(name, "not_of_this_side", f"{name} belongs to the other side's statement.")
    columns_check(statement, problems, ranges={}, names=[name for name in allowed if name in fields])
    for name in NEEDED[side]:
        if getattr(statement, name) in ("", None) and not problems.has(name):
            detail = f"{name} is missing; not_known is an answer too where it is offered."
            problems.add_sentence(name, "missing", detail)
    known = side == Side.RECIPIENT and statement.papers in ("in_hand", "not_needed")
    if known and not (statement.asked_whom and statement.asked_on):
        detail = "Say whom you asked (asked_whom) and on which day (asked_on)."
        problems.add_sentence("asked_whom", "missing", detail)
    if statement.asked_on is not None and statement.asked_on > clock.today(actor.zone):
        problems.add_sentence("asked_on", "in_future", f"asked_on is {statement.asked_on}, a day to come.")
    problems.refuse_if_any()
