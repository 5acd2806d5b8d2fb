"""A grower's own address: stated, changed and taken back; agreements that live hold copies of it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Unpack

from django.db import transaction

from exchange.models import Address
from exchange.services.agreement_address import copies_remove, copies_renew
from exchange.services.postal_address import (
    AddressFields,
    PostalAddress,
    address_changed,
    address_opened,
    address_sealed,
)
from growers import clock
from growers.errors import NotFound
from growers.models import Grower
from growers.services.grower import grower_hold


@dataclass(frozen=True, slots=True)
class OwnAddress:
    """A grower's own address, and when it was last changed; blank and None where none is stated."""

    address: PostalAddress
    changed_at: datetime | None


def address_own(*, actor: Grower) -> OwnAddress:
    """One's own address, in clear."""
    row = Address.objects.filter(grower=actor).first()
    return OwnAddress(PostalAddress(), None) if row is None else _own(row)


def address_set(*, actor: Grower, **fields: Unpack[AddressFields]) -> OwnAddress:
    """State one's own address, or change some of it; whoever calls this has asked for the password.

    Agreements that live get it at once if they had none; else they get the new one after a time in which
    both growers can object. The same again is no change. Raises ``InvalidInput`` for what does not fit.
    """
    with transaction.atomic():
        grower_hold(actor)
        row = Address.objects.filter(grower=actor).first()
        before = PostalAddress() if row is None else address_opened(row.sealed)
        address = address_changed(before, fields)
        if row is not None and address == before:
            return _own(row)
        now = clock.now()
        row = row or Address(grower=actor, created_at=now)
        row.sealed, row.changed_at = address_sealed(address), now
        copies_renew(recipient=actor, sealed=row.sealed, now=now)
        row.save()
    return OwnAddress(address, now)


def address_remove(*, actor: Grower) -> None:
    """Take one's own address back, from agreements too; their donors are told. ``NotFound`` without one."""
    with transaction.atomic():
        grower_hold(actor)
        copies_remove(recipient=actor, now=clock.now())
        deleted, _ = Address.objects.filter(grower=actor).delete()
        if not deleted:
            raise NotFound("You have stated no address.")


def _own(row: Address) -> OwnAddress:
    return OwnAddress(address_opened(row.sealed), row.changed_at)
