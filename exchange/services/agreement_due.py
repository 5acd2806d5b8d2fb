"""When nobody answers: what time itself does to agreements. Silence never counts against a person.

Every time is a row that the sweep takes up; whoever reads an agreement meanwhile finds it as it will be.
"""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from django.db import transaction

from exchange.models import Agreement, AgreementEvent, Pairing
from exchange.selectors.agreement_plan import next_donor
from exchange.services.agreement_event import event_tell_only
from exchange.services.agreement_rule import State
from exchange.services.deal import deal_lock_by_time, offer_lock
from exchange.services.due import due_set, register

Kind = AgreementEvent.Kind
EVENING = time(18)
"""When a recipient hears that nothing was heard on the posting day, at the donor's place (judgement)."""


def proposed_due_set(agreement: Agreement, now: datetime) -> None:
    """A single yes lapses at its time; half-way there the recipient who asked sees who else could help."""
    due_set(kind="agreement_lapse", subject_id=agreement.pk, due_at=agreement.lapses_at)
    half = now + (agreement.lapses_at - now) / 2
    due_set(kind="agreement_next_donor", subject_id=agreement.pk, due_at=half)


def agreed_due_set(agreement: Agreement, pairing: Pairing, until: datetime) -> None:
    """Reserved doses are let go at their time; a donor silent on the posting day is told of that evening."""
    due_set(kind="agreement_reservation", subject_id=agreement.pk, due_at=until)
    if pairing.post_on is not None:
        zone = ZoneInfo(pairing.offer.plant.site.cell_zone)
        evening = datetime.combine(pairing.post_on, EVENING, zone).astimezone(UTC)
        due_set(kind="agreement_silence", subject_id=agreement.pk, due_at=evening)


@register("agreement_lapse")
@register("agreement_reservation")
def lapse_due(subject_id: int, now: datetime) -> None:
    """Let go what has run out; whoever locks the offer does the same."""
    with transaction.atomic():
        offer_lock(Agreement.objects.select_related("offer").get(pk=subject_id).offer)


@register("agreement_next_donor")
def next_donor_due(subject_id: int, now: datetime) -> None:
    """Show a recipient whose proposal waits who else could send pollen, if there is somebody."""
    with transaction.atomic():
        agreement = deal_lock_by_time(Agreement.objects.get(pk=subject_id)).agreement
        asked = agreement.state == State.PROPOSED and agreement.proposed_by_id == agreement.recipient_id
        if asked:
            _show_next(agreement, Kind.NEXT_DONOR_SHOWN, now)


@register("agreement_silence")
def silence_due(subject_id: int, now: datetime) -> datetime | None:
    """Tell the recipient in the evening of the posting day that nothing was heard, and who else there is."""
    with transaction.atomic():
        agreement = deal_lock_by_time(Agreement.objects.get(pk=subject_id)).agreement
        heard = agreement.events.filter(kind__in=(Kind.COLLECTED, Kind.SENT)).exists()
        if agreement.state == State.AGREED and not heard:
            _show_next(agreement, Kind.DONOR_SILENT, now, always=True)
    return None


def _show_next(agreement: Agreement, kind: Kind, now: datetime, *, always: bool = False) -> None:
    """Once for an agreement, however often the task is delivered."""
    if agreement.events.filter(kind=kind).exists():
        return
    other = next_donor(agreement)
    if other is not None or always:
        pairing = str(other.public_id) if other is not None else None
        event_tell_only(agreement, kind, told=agreement.recipient, now=now, pairing_id=pairing)
