"""Addresses of a detour: the steward's for the donor, the recipient's for the steward, by logged calls."""

from django.db import transaction

from exchange.models import Address, AddressView, Agreement, AgreementAddress, Detour, Packet
from exchange.selectors.leg import route_of
from exchange.services.agreement_address import COOLING, AddressCooling
from exchange.services.agreement_rule import State
from exchange.services.deal import Deal, deal_lock_by_time
from exchange.services.postal_address import PostalAddress, address_opened
from growers.errors import Conflict, NotFound
from growers.models import Grower


def detour_address_read(*, actor: Grower, agreement: Agreement) -> PostalAddress:
    """Where to send the next parcel of a detour; the call is noted and the address's owner sees it.

    The donor reads the steward's once all three have said yes, the steward the recipient's once the packet
    lies with them. Raises ``NotFound`` for others, ``Conflict`` for the recipient and before that, and while
    no address is stated; ``AddressCooling`` after a change.
    """
    with transaction.atomic():
        deal = deal_lock_by_time(agreement)
        detour = route_of(deal.agreement)
        steward = None if detour is None else detour.gathering.steward_id
        if actor.pk not in (agreement.donor_id, agreement.recipient_id, steward):
            raise NotFound("There is no such agreement.")
        if actor.pk == agreement.recipient_id:
            raise Conflict("You send nothing; you read your own address where you state it, at /me/address.")
        if deal.agreement.state != State.AGREED:
            raise Conflict(f"The agreement is {deal.agreement.state}; its addresses are read no more.")
        if detour is None:
            raise Conflict("The steward's address can be read once all three have said yes.")
        if actor.pk == agreement.donor_id:
            return _stewards(deal, detour, actor)
        return _recipients(deal, actor)


def _stewards(deal: Deal, detour: Detour, donor: Grower) -> PostalAddress:
    steward = detour.gathering.steward
    address = Address.objects.filter(grower=steward).first()
    if address is None:
        raise Conflict("The steward has not stated an address yet; ask them to.")
    if address.changed_at > address.created_at and address.changed_at + COOLING > deal.now:
        raise AddressCooling(address.changed_at + COOLING)
    _note(deal, steward, donor)
    return address_opened(address.sealed)


def _recipients(deal: Deal, steward: Grower) -> PostalAddress:
    here = Packet.objects.filter(agreement=deal.agreement, holder=steward, store__isnull=False)
    if not here.exists():
        raise Conflict("The recipient's address can be read once the packet has come to you.")
    copy = AgreementAddress.objects.filter(agreement=deal.agreement).first()
    if copy is None:
        raise Conflict("The recipient has not stated an address yet; you cannot post it on before.")
    if copy.readable_from > deal.now:
        raise AddressCooling(copy.readable_from)
    _note(deal, deal.agreement.recipient, steward)
    return address_opened(copy.sealed)


def _note(deal: Deal, owner: Grower, viewer: Grower) -> None:
    AddressView.objects.create(agreement=deal.agreement, owner=owner, viewer=viewer, created_at=deal.now)
