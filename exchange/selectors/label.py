"""What stands on the label of a lot or a packet, who may print it, and what a lot's public page tells."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from exchange.models import Lot, LotOutlook, Packet
from exchange.selectors.lot import lots_known
from exchange.selectors.lot_time import cut_at
from exchange.selectors.packet import packets_known
from exchange.wording.label import LabelFacts
from exchange.wording.lot import STORES, TREATMENTS, doubt_sentence
from exchange.wording.term import term_text
from growers.errors import NotFound
from growers.models import Grower


@dataclass(frozen=True, slots=True)
class LotPage:
    """What everybody who reads a label may read of its lot; no more than the label tells.

    ``own_words`` says that one of the terms is in its grower's own words, which only partners read.
    """

    plant: str
    code: str
    collected_on: date
    collected_hour: int | None
    treatment: str
    best_before: date | None
    worth_trying_until: date | None
    doubtful: tuple[str, ...]
    terms: tuple[str, ...]
    own_words: bool


def lots_printable(viewer: Grower) -> QuerySet[Lot]:
    """Own lots, and those of which one holds a packet."""
    held = Packet.objects.filter(holder=viewer).values("lot")
    return lots_known(viewer).filter(Q(plant__grower=viewer) | Q(pk__in=held))


def label_of(viewer: Grower, lot: Lot, packet: UUID | None, *, address_of_page: str) -> LabelFacts:
    """The label of a loaded lot for its grower, or of one packet for its holder too; else ``NotFound``."""
    if packet is not None:
        found = _packets(viewer, lot).filter(public_id=packet).first()
    elif lot.plant.grower_id == viewer.pk:
        return label_facts(lot, None, address_of_page=address_of_page)
    else:
        found = None
    if found is None:
        raise NotFound(_("There is no such thing, or it is not yours to see."))
    return label_facts(lot, found, address_of_page=address_of_page)


def labels_of_packets(viewer: Grower, lot: Lot, *, address_of_page: str) -> list[LabelFacts]:
    """Labels of all packets of a loaded lot for its grower, of those held for another; by number."""
    packets = _packets(viewer, lot).order_by("number")
    return [label_facts(lot, packet, address_of_page=address_of_page) for packet in packets]


def label_facts(lot: Lot, packet: Packet | None, *, address_of_page: str) -> LabelFacts:
    """What the label of a loaded lot, or of a loaded packet of it, tells; no query.

    Days are those of the clock where the plant is. A packet on its way is labelled with its lot's store.
    """
    outlook = _outlook(lot if packet is None else packet)
    store = lot.store if packet is None or packet.store is None else packet.store
    return LabelFacts(
        plant=lot.plant.name_as_grown,
        code=lot.code,
        packet=None if packet is None else packet.number,
        doses=lot.doses if packet is None else packet.doses,
        collected_on=lot.collected_on,
        collected_hour=lot.collected_hour,
        zone=clock_of(lot),
        treatment=str(TREATMENTS[lot.treatment]),
        store=str(STORES[store.kind]),
        best_before=_day(lot, outlook.best_before_at if outlook else None),
        worth_trying_until=_day(lot, outlook.worth_trying_until_at if outlook else None),
        doubtful=tuple(map(doubt_sentence, outlook.doubts if outlook else ())),
        terms=tuple(map(term_text, lot.offer.terms if lot.offer else ())),
        url=address_of_page,
    )


def clock_of(lot: Lot) -> str:
    """The clock a loaded lot was collected by, as an offset: a zone would tell more of the place."""
    offset = cut_at(lot).astimezone(ZoneInfo(lot.plant.site.cell_zone)).utcoffset() or timedelta()
    minutes = round(offset.total_seconds() / 60.0)
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'-' if minutes < 0 else '+'}{hours}" + (f":{rest:02d}" if rest else "")


def lot_page(code: str) -> LotPage | None:
    """The public page of the lot with a code, None if there is none; two queries."""
    own = Prefetch("outlooks", LotOutlook.objects.filter(packet=None), to_attr="outlooks_own")
    rows = Lot.objects.filter(code=code).select_related("plant__site", "offer", "store")
    lot = rows.prefetch_related(own).first()
    if lot is None:
        return None
    facts = label_facts(lot, None, address_of_page="")
    terms = lot.offer.terms if lot.offer else ()
    return LotPage(
        plant=facts.plant,
        code=facts.code,
        collected_on=facts.collected_on,
        collected_hour=facts.collected_hour,
        treatment=facts.treatment,
        best_before=facts.best_before,
        worth_trying_until=facts.worth_trying_until,
        doubtful=tuple(facts.doubtful),
        terms=tuple(term_text(term) for term in terms if term["code"] != "other"),
        own_words=any(term["code"] == "other" for term in terms),
    )


def _packets(viewer: Grower, lot: Lot) -> QuerySet[Packet]:
    mine = Q(lot__plant__grower=viewer) | Q(holder=viewer)
    return packets_known(viewer).filter(mine, lot=lot)


def _outlook(thing: Lot | Packet) -> LotOutlook | None:
    found: list[LotOutlook] = thing.outlooks_own  # type: ignore[union-attr]
    return found[0] if found else None


def _day(lot: Lot, instant: datetime | None) -> date | None:
    return None if instant is None else instant.astimezone(ZoneInfo(lot.plant.site.cell_zone)).date()
