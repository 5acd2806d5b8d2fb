"""The recipient's address as an agreement holds it: handed to the donor by a call that is written down.

A new address in place of an earlier one waits: a stolen session must not divert a parcel before its owner
and the donor have heard of it.
"""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import QuerySet

from exchange.models import Address, AddressView, Agreement, AgreementAddress, AgreementEvent
from exchange.selectors.leg import route_of
from exchange.services.agreement_event import event_note, event_tell_both
from exchange.services.agreement_rule import State
from exchange.services.deal import Deal, deal_lock, deals_alive
from exchange.services.postal_address import PostalAddress, address_opened
from growers.errors import Conflict, FieldProblem
from growers.models import Grower

Kind = AgreementEvent.Kind
COOLING = timedelta(hours=24)
"""A changed address cannot be read before (judgement): time to read a message and to object."""


class AddressCooling(Conflict):
    """The address was changed; ``readable_from`` says when it can be read."""

    def __init__(self, readable_from: datetime) -> None:
        stated = readable_from.isoformat(timespec="seconds").replace("+00:00", "Z")
        detail = (
            f"The address was changed; it can be read from {stated}. If the change surprises you, ask first."
        )
        super().__init__(detail, problems=(FieldProblem("", "not_yet", detail, allowed=stated),))
        self.readable_from = readable_from


def address_read(*, actor: Grower, agreement: Agreement) -> PostalAddress:
    """The recipient's address for the donor; the call is noted and its owner sees that it was made.

    Raises ``NotFound`` for others; ``Conflict`` for the recipient, unless both have said yes and it is not
    over, and while no address is stated; ``AddressCooling`` after a change.
    """
    with transaction.atomic():
        deal = deal_lock(actor, agreement)
        copy = _readable(deal, actor)
        AddressView.objects.create(
            agreement=deal.agreement, owner=deal.agreement.recipient, viewer=actor, created_at=deal.now
        )
        return address_opened(copy.sealed)


def copy_attach(agreement: Agreement, now: datetime) -> None:
    """Give an agreement that both have just said yes to the recipient's address, if there is one."""
    address = Address.objects.filter(grower=agreement.recipient_id).first()
    if address is None:
        return
    was_changed = address.changed_at > address.created_at
    readable_from = max(now, address.changed_at + COOLING) if was_changed else now
    AgreementAddress.objects.create(agreement=agreement, sealed=address.sealed, readable_from=readable_from)


def copies_renew(*, recipient: Grower, sealed: bytes, now: datetime) -> None:
    """Put a recipient's new address into all agreements that both have said yes to, and tell of it."""
    for deal in deals_alive(_received_by(recipient)):
        if deal.agreement.state == State.AGREED:
            _renew(deal.agreement, sealed, now)


def copies_remove(*, recipient: Grower, now: datetime) -> None:
    """Take a recipient's address out of all agreements, and tell of it."""
    for deal in deals_alive(_received_by(recipient)):
        deleted, _ = AgreementAddress.objects.filter(agreement=deal.agreement).delete()
        if deleted:
            _note(deal.agreement, Kind.ADDRESS_REMOVED, now)


def _received_by(recipient: Grower) -> QuerySet[Agreement]:
    return Agreement.objects.filter(recipient=recipient)


def _readable(deal: Deal, actor: Grower) -> AgreementAddress:
    agreement = deal.agreement
    if actor.pk == agreement.recipient_id:
        raise Conflict("This is your own address; you read it where you state it, at /me/address.")
    if agreement.state == State.PROPOSED:
        raise Conflict("The address can be read once both have said yes.")
    if agreement.state != State.AGREED:
        raise Conflict(f"The agreement is {agreement.state}; its address has been erased.")
    if route_of(agreement) is not None:
        raise Conflict("It goes by way of a steward; you read where to send it at the detour's address.")
    copy = AgreementAddress.objects.filter(agreement=agreement).first()
    if copy is None:
        raise Conflict("The recipient has not stated an address yet; you will be told when they have.")
    if copy.readable_from > deal.now:
        raise AddressCooling(copy.readable_from)
    return copy


def _renew(agreement: Agreement, sealed: bytes, now: datetime) -> None:
    """The first address can be read at once; one after another, or after one that was taken back, waits."""
    earlier = agreement.events.filter(kind=Kind.ADDRESS_REMOVED).exists()
    waits = earlier or AgreementAddress.objects.filter(agreement=agreement).exists()
    AgreementAddress.objects.update_or_create(
        agreement=agreement,
        defaults={"sealed": sealed, "readable_from": now + COOLING if waits else now},
    )
    _note(agreement, Kind.ADDRESS_CHANGED if waits else Kind.ADDRESS_STATED, now)


def _note(agreement: Agreement, kind: AgreementEvent.Kind, now: datetime) -> None:
    """Both are told of a change: the owner may not be the one who made it."""
    agreement.changed_at = now
    agreement.save(update_fields=["changed_at"])
    tell = event_note if kind == Kind.ADDRESS_STATED else event_tell_both
    tell(agreement, kind, actor=agreement.recipient, now=now)
