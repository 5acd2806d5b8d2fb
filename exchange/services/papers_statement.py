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


def statement_of(agreement: Agreement, side: str) -> PapersStatement | None:
    """The statement of a side that counts: its newest."""
    return agreement.papers_statements.filter(side=side).order_by("-pk").first()


def statements_needed(agreement: Agreement) -> list[str]:
    """Sentences that say what is missing before a parcel may cross a border; none within a country."""
    if not crosses_border(agreement):
        return []
    donor, recipient = statement_of(agreement, Side.DONOR), statement_of(agreement, Side.RECIPIENT)
    missing = []
    if donor is None:
        missing.append(
            "The donor's statement is missing: botanical name, origin, free of soil, pond water and insects,"
            " rights."
        )
    elif donor.free_of_soil_water_insects is not True:
        missing.append("The donor states that the parcel is not free of soil, pond water and insects.")
    if recipient is None:
        missing.append("The recipient's statement is missing: whether papers are in hand or not needed.")
    elif recipient.papers == PapersStatement.Papers.NOT_SURE:
        missing.append("The recipient is not sure about the papers; ask the plant-health authority first.")
    return missing


def _check(statement: PapersStatement, fields: StatementFields, actor: Grower) -> None:
    problems = Problems()
    side = Side(statement.side)
    allowed = (*OF_SIDE[side], *BOTH)
    for name in sorted(set(fields) - set(allowed)):
        problems.add_sentence(name, "not_of_this_side", f"{name} belongs to the other side's statement.")
    columns_check(statement, problems, ranges={}, names=[name for name in allowed if name in fields])
    for name in NEEDED[side]:
        if getattr(statement, name) in ("", None):
            problems.add(name, None, "a statement; not known is one too where it is offered")
    if statement.papers in ("in_hand", "not_needed") and not (statement.asked_whom and statement.asked_on):
        problems.add("asked_whom", statement.asked_whom, "whom you asked, and asked_on the day")
    if statement.asked_on is not None and statement.asked_on > clock.today(actor.zone):
        problems.add("asked_on", statement.asked_on, "a day up to today")
    problems.refuse_if_any()
