"""Deals of the society of the access matrix: yeses, addresses, notes, papers, blocks, quiet asks."""

from datetime import date
from typing import Any

from exchange.models import Agreement, BorderNote, Pairing, QuietAsk
from exchange.services.address import address_set
from exchange.services.agreement_address import address_read
from exchange.services.agreement_change import agreement_send, agreement_withdraw
from exchange.services.agreement_note import note_report, note_write
from exchange.services.block import block_create
from exchange.services.border_note import BorderNoteFields, border_note_confirm, border_note_propose
from exchange.services.papers_statement import statement_make
from growers.models import Grower, Plant, Taxon
from growers.services.grower import grower_update
from tests.api.access_member import asked_for, handle, make_member, plant_of, reasons_for, seed_of
from tests.exchange.bargain import agree, propose
from tests.exchange.society import NOON, TODAY, make_pairing
from tests.factories import make_offer

AGREED_SEED = "Noon over the hidden pond"
WISHED_SEED = "Frost over the hidden pond"
UNOFFERED = "Lotus that nobody was told of"
OTHER_TERM = "Plant one beside the church"
NOTE_TEXT = "It opens when the bells ring"
REPORTED_TEXT = "Hurry up or else"
REPORT_REASON = "this sounds like a threat"
DONORS_ANSWER = "the office by the bridge says none"
RECIPIENTS_ANSWER = "the office by the market says none"
ASKED_WHOM = "the office by the harbour"
WAITING_TEXT = "a permit with two stamps"
FILED_TEXT = "a passport of plants"

TERMS = ({"code": "tell_result"}, {"code": "other", "text": OTHER_TERM})


def street(who: str) -> str:
    """What is in every part of an address."""
    return f"lane of {who}"


def make_bargains(growers: dict[str, Grower], pairing: Pairing, old: Pairing) -> dict[str, Any]:
    """Agreements of the owner with the partner, one of each state, and one with the ex-partner that ended.

    The partner's first seed parent is in a proposal only: its name is a secret to the owner.
    """
    for who in ("partner", "ex_partner", "owner"):
        _address_state(growers[who], who)
    seed = seed_of(growers["partner"], "partner", AGREED_SEED, number="8")
    agreed, sent, asked, free = (
        make_pairing(pairing.offer, asked_for(seed, "partner"), reasons=reasons_for(AGREED_SEED))
        for _ in range(4)
    )
    ended = agreement_withdraw(actor=growers["ex_partner"], agreement=agree(old))
    agreement, gone = _agreed(agreed), _agreed(sent)
    agreement_send(actor=gone.donor, agreement=gone)
    address_read(actor=agreement.donor, agreement=agreement)
    states = {"agreement": agreement, "sent": gone, "ended": ended}
    waiting = {"proposed": propose(pairing), "asked": propose(asked), "free_pairing": free}
    return {**states, **waiting, **_notes(agreement)}


def _address_state(grower: Grower, who: str) -> None:
    mark = street(who)
    parts = {"name": f"To {mark}", "town": f"Town {mark}", "postal_code": mark[-20:], "country": "DE"}
    address_set(actor=grower, lines=[f"Line {mark}"], **parts)


def _agreed(pairing: Pairing) -> Agreement:
    agreement = agree(pairing)
    statement_make(
        actor=agreement.donor,
        agreement=agreement,
        botanical_name="Nymphaea hybrid",
        origin="cultivated",
        free_of_soil_water_insects=True,
        rights="not_known",
        asked_whom=DONORS_ANSWER,
        asked_on=TODAY,
        answer=DONORS_ANSWER,
    )
    asked = {"asked_whom": RECIPIENTS_ANSWER, "asked_on": TODAY, "answer": RECIPIENTS_ANSWER}
    statement_make(actor=agreement.recipient, agreement=agreement, papers="not_needed", **asked)  # type: ignore[arg-type]
    return agreement


def _notes(agreement: Agreement) -> dict[str, Any]:
    note = note_write(actor=agreement.recipient, agreement=agreement, text=NOTE_TEXT)
    reported = note_write(actor=agreement.recipient, agreement=agreement, text=REPORTED_TEXT)
    note_report(actor=agreement.donor, note=reported, reason=REPORT_REASON)
    return {"note": note, "reported": reported}


def make_encounters(growers: dict[str, Grower], taxon: Taxon, seed: Plant) -> dict[str, Any]:
    """What growers are asked and tell of borders, whom the owner blocked, and an offer on request."""
    blocked = block_create(actor=growers["owner"], blocked=make_member("blocked"))
    make_member("bystander")
    return {
        **_border_notes(growers, taxon),
        "ask": _quiet_ask(growers["owner"], growers["outsider"]),
        "block": blocked,
        "request": make_offer(seed, countries=["DE"]),
    }


def _border_notes(growers: dict[str, Grower], taxon: Taxon) -> dict[str, BorderNote]:
    stated: BorderNoteFields = {
        "kind": "conditions",
        "text": WAITING_TEXT,
        "taxon": taxon,
        "origin": "IT",
        "destination": "DE",
        "asked_whom": ASKED_WHOM,
        "source": "a letter",
        "checked_on": date(2027, 6, 12),
        "expires_on": date(2028, 6, 12),
    }
    anywhere: BorderNoteFields = {**stated, "text": FILED_TEXT, "origin": ""}
    waiting, filed = (border_note_propose(actor=growers["partner"], **each) for each in (stated, anywhere))
    return {
        "waiting_note": waiting,
        "filed_note": border_note_confirm(actor=growers["coordinator"], note=filed),
    }


def _quiet_ask(owner: Grower, asker: Grower) -> QuietAsk:
    """The outsider's wish for what the owner has and does not offer."""
    wish = asked_for(seed_of(asker, "outsider", WISHED_SEED), "outsider", pollen_groups=["lotos"])
    grower_update(actor=owner, may_be_asked=True)
    plant = plant_of(owner, "owner", name_as_grown=UNOFFERED, number="9", group="lotos", diel="night")
    return QuietAsk.objects.create(plant=plant, wanted_cross=wish, created_at=NOON)


DEAL_READERS = {
    **{street(who): who for who in ("ex_partner", "owner")},
    street("partner"): "partner owner",
    AGREED_SEED: "partner coordinator owner",
    WISHED_SEED: "outsider",
    UNOFFERED: "owner",
    OTHER_TERM: "partner ex_partner owner",
    NOTE_TEXT: "partner owner",
    REPORTED_TEXT: "partner coordinator owner",
    REPORT_REASON: "coordinator",
    DONORS_ANSWER: "partner owner",
    RECIPIENTS_ANSWER: "partner owner",
    ASKED_WHOM: "partner coordinator",
    WAITING_TEXT: "partner coordinator",
    handle("blocked"): "owner",
}
"""Who may read a text of a deal."""

DEAL_ID_READERS = {
    "agreement": "partner owner",
    "sent": "partner owner",
    "asked": "partner owner",
    "proposed": "partner owner",
    "ended": "ex_partner owner",
    "free_pairing": "partner owner",
    "note": "partner owner",
    "reported": "partner coordinator owner",
    "waiting_note": "partner coordinator",
    "ask": "owner",
    "block": "owner",
    "request": "coordinator owner",
}
