"""Papers of an agreement as each of its two growers reads them: what is on file, stated and lacking."""

from dataclasses import dataclass
from datetime import date

from exchange.models import Agreement, PapersStatement
from exchange.selectors.agreement_plan import crosses_border
from exchange.selectors.border import border_notes, way_between
from exchange.selectors.pairing import Told
from exchange.selectors.plan_record import reason_records
from exchange.wording.catalogue import sentence
from exchange.wording.papers import LACKING, papers_record, who_decides
from growers.models import Grower, Site

Side = PapersStatement.Side
Statements = dict[str, PapersStatement]


@dataclass(frozen=True, slots=True)
class PapersForViewer:
    """The papers of one agreement: the line, both sides' newest statements, what lacks before sending."""

    crosses_border: bool
    line: Told | None
    donor: PapersStatement | None
    recipient: PapersStatement | None
    lacking: tuple[Told, ...]
    caution: str


def papers_for(viewer: Grower, agreement: Agreement, today: date) -> PapersForViewer:
    """A loaded agreement's papers for one of its growers; each side reads the other's statement."""
    stated = statements_of(agreement)
    abroad = crosses_border(agreement)
    return PapersForViewer(
        crosses_border=abroad,
        line=papers_line(viewer, agreement, today),
        donor=stated.get(Side.DONOR),
        recipient=stated.get(Side.RECIPIENT),
        lacking=lacking_before_sending(viewer, agreement, today),
        caution=who_decides(crosses_border=abroad),
    )


def papers_line(viewer: Grower, agreement: Agreement, today: date) -> Told | None:
    """What is on file as of a day; None inside one country.

    Once both have said yes it names the countries, whatever the regions tell: the importer must know which
    authorities to ask.
    """
    line = border_notes(today).line_on(way_between(agreement.offer, agreement.wanted_cross))
    if line is None:
        return None
    (record,) = reason_records([line])
    told = record if agreement.agreed_at is not None else papers_record(record, _other(viewer, agreement))
    return Told(told["code"], sentence(told["code"], told["parameters"]), told["parameters"])


def lacking_before_sending(viewer: Grower, agreement: Agreement, today: date) -> tuple[Told, ...]:
    """What keeps a parcel from being sent across a border today; nothing within a country."""
    if not crosses_border(agreement):
        return ()
    line = papers_line(viewer, agreement, today)
    forbidden = [line] if line is not None and line.code.startswith("papers_forbidden") else []
    codes = _lacking(statements_of(agreement))
    return (*forbidden, *(Told(code, str(LACKING[code]), {}) for code in codes))


def statements_of(agreement: Agreement) -> Statements:
    """The statement of each side that counts: its newest."""
    return {row.side: row for row in agreement.papers_statements.order_by("pk")}


def _lacking(stated: Statements) -> list[str]:
    donor, recipient = stated.get(Side.DONOR), stated.get(Side.RECIPIENT)
    codes = []
    if donor is None:
        codes.append("donor_statement_missing")
    elif donor.free_of_soil_water_insects is not True:
        codes.append("parcel_not_free")
    if recipient is None:
        codes.append("recipient_statement_missing")
    elif recipient.papers == PapersStatement.Papers.NOT_SURE:
        codes.append("papers_not_sure")
    return codes


def _other(viewer: Grower, agreement: Agreement) -> Site:
    is_donor = viewer.pk == agreement.donor_id
    return agreement.wanted_cross.seed_parent.site if is_donor else agreement.offer.plant.site
