"""Notes beside an agreement: plain text, told to the other once, open to a coordinator when reported."""

import re
import unicodedata
from datetime import timedelta

from django.db import transaction

from exchange.models import AgreementEvent, AgreementNote
from exchange.models.agreement import Agreement
from exchange.services.agreement_event import event_note
from exchange.services.agreement_rule import ALIVE
from exchange.services.deal import Deal, deal_lock
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.problem import Problems
from growers.services.row import JOINERS, columns_check, text_tidied

MOST_NOTES_A_DAY = 20
"""Of one grower on one agreement in 24 hours (judgement)."""

LINK = re.compile(r"https?:|www\.|@|[\w-]+\.[^\W\d_]{2,}", re.IGNORECASE)
"""What leads out of the exchange: an address of the web or of e-mail."""


def note_write(*, actor: Grower, agreement: Agreement, text: str) -> AgreementNote:
    """Write to the other side of an agreement that lives; the other is told once.

    Raises ``NotFound`` for others, ``Conflict`` once it is over or after too many notes in a day,
    ``InvalidInput`` for an empty or too long text, control characters, or a link before both said yes.
    """
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        if deal.agreement.state not in ALIVE:
            raise Conflict(
                f"The agreement is {deal.agreement.state}; its notes stay readable, none can be added."
            )
        note = AgreementNote(agreement=deal.agreement, author=actor, text=_tidied(text), created_at=deal.now)
        _text_check(note, deal)
        _not_too_many(note, deal)
        note.save()
        event_note(deal.agreement, AgreementEvent.Kind.NOTE_WRITTEN, actor=actor, now=deal.now)
    return note


def note_report(*, actor: Grower, note: AgreementNote, reason: str) -> AgreementNote:
    """Show a note of the other's to the coordinators, with a reason; a second time is no change.

    Raises ``NotFound`` for others than the two, ``Conflict`` for a note of one's own.
    """
    with transaction.atomic():
        rows = AgreementNote.objects.select_for_update(of=("self",)).select_related("agreement")
        found = rows.filter(pk=note.pk).first()
        if found is None or actor.pk not in (found.agreement.donor_id, found.agreement.recipient_id):
            raise NotFound("There is no such note.")
        if found.author_id == actor.pk:
            raise Conflict("This is your own note; the other can report it.")
        if found.reported_at is None:
            found.reported_by, found.reported_at = actor, clock.now()
            found.report_reason = text_tidied(reason)
            _reason_check(found)
            found.save(update_fields=["reported_by", "reported_at", "report_reason"])
    return found


def _tidied(text: str) -> str:
    return text_tidied(text.replace("\r\n", "\n"))


def _text_check(note: AgreementNote, deal: Deal) -> None:
    problems = Problems()
    columns_check(note, problems, ranges={}, names=("text",))
    found = None if deal.agreement.agreed_at else LINK.search(_plain(note.text))
    if found is not None and not problems.has("text"):
        detail = (
            f"text holds {found[0]!r}, which reads as a link or an e-mail address; none before both have said"
            " yes. After a full stop write a space."
        )
        problems.add_sentence("text", "link", detail, value=found[0])
    problems.refuse_if_any()


def _plain(text: str) -> str:
    """A text as it reads: full-width signs as plain ones, joiners gone."""
    return unicodedata.normalize("NFKC", text).translate(dict.fromkeys(map(ord, JOINERS))).replace("。", ".")


def _reason_check(note: AgreementNote) -> None:
    problems = Problems()
    columns_check(note, problems, ranges={}, names=("report_reason",))
    if not note.report_reason:
        problems.add("reason", "", "why the coordinators should read it")
    problems.refuse_if_any()


def _not_too_many(note: AgreementNote, deal: Deal) -> None:
    since = deal.now - timedelta(days=1)
    recent = AgreementNote.objects.filter(agreement=deal.agreement, author=note.author, created_at__gt=since)
    if recent.count() >= MOST_NOTES_A_DAY:
        raise Conflict(f"You have written {MOST_NOTES_A_DAY} notes here in a day; write on tomorrow.")
