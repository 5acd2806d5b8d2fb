"""Addresses: sealed, handed to the donor by a noted call, late after a change, erased with the agreement."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings

from exchange.models import Address, AddressView, Agreement, AgreementAddress, AgreementEvent, Notification
from exchange.project.keys import make_address_key
from exchange.services.address import address_own, address_remove, address_set
from exchange.services.agreement_address import AddressCooling, address_read
from exchange.services.agreement_change import (
    agreement_end,
    agreement_postpone,
    agreement_send,
    agreement_withdraw,
)
from exchange.services.due import run_due
from exchange.services.postal_address import PostalAddress
from exchange.services.shortfall import offer_came_up_short
from exchange.wording.notification import notification_sentence
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, agree, make_bargain, propose, state_papers
from tests.exchange.refusal import problems, refused, rows
from tests.exchange.society import NOON
from tests.exchange.stored import stored

pytestmark = pytest.mark.django_db

HOME: dict[str, Any] = {
    "name": "A. Zwijndrecht",
    "lines": ["7 Quagmire Lane"],
    "postal_code": "0Q7",
    "town": "Xanadu",
    "country": "DE",
}
CLEAR = PostalAddress("A. Zwijndrecht", ("7 Quagmire Lane",), "0Q7", "Xanadu", "DE")
SENTINELS = (b"Zwijndrecht", b"Quagmire", b"Xanadu")


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def told(grower: Grower) -> list[tuple[str, str]]:
    """Kind and sentence of what a grower was told of agreements, in order."""
    found = Notification.objects.filter(grower=grower, event__isnull=False).order_by("pk")
    return [(row.event.kind, notification_sentence(row)) for row in found if row.event]


# --- one's own ---


def test_what_is_stated_is_read_back_and_stands_nowhere_in_clear(recipient: Grower) -> None:
    assert address_own(actor=recipient).address == PostalAddress()
    address_set(actor=recipient, **HOME)
    own = address_own(actor=recipient)
    assert (own.address, own.changed_at) == (CLEAR, Address.objects.get().changed_at)
    assert [word for word in SENTINELS if word in stored()] == []
    assert b"recipient@example.org" in stored()  # so that clear text would be found
    assert "Xanadu" not in repr(own)


def test_a_field_is_changed_alone_and_the_same_again_is_no_change(
    recipient: Grower, clock: MovableClock
) -> None:
    address_set(actor=recipient, **HOME)
    clock.move(hours=1)
    before = rows()
    address_set(actor=recipient, town=" Xanadu ")
    assert rows() == before
    address_set(actor=recipient, town="Shangri-La")
    assert address_own(actor=recipient).address.town == "Shangri-La"
    assert address_own(actor=recipient).address.name == "A. Zwijndrecht"


@pytest.mark.parametrize(
    ("changed", "found"),
    [
        ({"name": " "}, {"/name": "name does not fit; allowed: 1 to 100 printable characters."}),
        ({"name": "x" * 101}, {"/name": "name does not fit; allowed: 1 to 100 printable characters."}),
        ({"town": "a\u202eb"}, {"/town": "town does not fit; allowed: 1 to 80 printable characters."}),
        (
            {"lines": ["x"] * 5},
            {"/lines": "lines does not fit; allowed: 1 to 4 lines of 1 to 100 printable characters."},
        ),
        (
            {"lines": ["x\ny"]},
            {"/lines": "lines does not fit; allowed: 1 to 4 lines of 1 to 100 printable characters."},
        ),
        (
            {"country": "XX"},
            {
                "/country": "country does not fit; allowed: an ISO 3166 code of two capital letters such as"
                " FR."
            },
        ),
    ],
)
def test_what_does_not_fit_is_refused_without_being_repeated(
    recipient: Grower, changed: dict[str, Any], found: dict[str, str]
) -> None:
    assert problems(lambda: address_set(actor=recipient, **{**HOME, **changed})) == found


def test_what_is_missing_at_first_is_named(recipient: Grower) -> None:
    assert set(problems(lambda: address_set(actor=recipient, town="Xanadu"))) == {
        "/name",
        "/lines",
        "/country",
    }


def test_a_new_key_seals_and_an_old_one_still_opens(
    recipient: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    address_set(actor=recipient, **HOME)
    before, old = bytes(Address.objects.get().sealed), settings.ADDRESS_KEYS
    new = make_address_key()
    monkeypatch.setattr(settings, "ADDRESS_KEYS", (new, *old))
    assert address_own(actor=recipient).address == CLEAR
    address_set(actor=recipient, postal_code="0Q8")
    assert bytes(Address.objects.get().sealed) != before
    monkeypatch.setattr(settings, "ADDRESS_KEYS", (new,))
    assert address_own(actor=recipient).address.postal_code == "0Q8"
    monkeypatch.setattr(settings, "ADDRESS_KEYS", old)
    with pytest.raises(ValueError, match="None of the address keys decrypts this"):
        address_own(actor=recipient)


# --- handed to the donor ---


def test_the_donor_reads_it_from_the_second_yes_and_each_time_is_noted(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = propose(bargain.pairing)
    assert refused(lambda: address_read(actor=donor, agreement=agreement), Conflict).detail == (
        "The address can be read once both have said yes."
    )
    accept(agreement)
    for _ in range(2):
        assert address_read(actor=donor, agreement=agreement) == CLEAR
    views = AddressView.objects.values_list("agreement", "owner", "viewer")
    assert list(views) == [(agreement.pk, recipient.pk, donor.pk)] * 2
    assert [word for word in SENTINELS if word in stored()] == []


def test_nobody_but_the_donor_reads_it(bargain: Bargain, recipient: Grower, outsider: Grower) -> None:
    address_set(actor=recipient, **HOME)
    agreement = agree(bargain.pairing)
    refused(lambda: address_read(actor=outsider, agreement=agreement), NotFound)
    assert refused(lambda: address_read(actor=recipient, agreement=agreement), Conflict).detail == (
        "This is your own address; you read it where you state it, at /me/address."
    )


def test_an_address_stated_late_is_readable_at_once_and_the_donor_is_told(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    agreement = agree(bargain.pairing)
    assert refused(lambda: address_read(actor=donor, agreement=agreement), Conflict).detail == (
        "The recipient has not stated an address yet; you will be told when they have."
    )
    address_set(actor=recipient, **HOME)
    assert address_read(actor=donor, agreement=agreement) == CLEAR
    assert told(donor)[-1] == (
        "address_stated",
        "recipient has stated the address for 'Ferry'; you can read it now.",
    )
    assert [kind for kind, _ in told(recipient)] == ["agreed"]


def test_a_change_is_told_to_both_and_waits_a_day(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = agree(bargain.pairing)
    clock.move(hours=3)
    address_set(actor=recipient, town="Elsewhere")
    event = AgreementEvent.objects.get(kind="address_changed")
    assert (event.agreement, event.actor) == (agreement, recipient)
    error = refused(lambda: address_read(actor=donor, agreement=agreement), AddressCooling)
    assert isinstance(error, AddressCooling)
    assert error.readable_from == event.created_at + timedelta(hours=24)
    stated = f"{error.readable_from:%Y-%m-%dT%H:%M:%SZ}"
    assert error.problems[0].allowed == stated
    assert error.detail == (
        f"The address was changed; it can be read from {stated}. If the change surprises you, ask first."
    )
    assert told(donor)[-1] == (
        "address_changed",
        "The address for the parcel with 'Ferry' has been changed; it can be read again in a day. If that"
        " surprises you, ask.",
    )
    assert told(recipient)[-1] == (
        "address_changed",
        "Your address for the parcel with 'Ferry' was changed; it can be read again in a day. If that was"
        " not you, set a new password.",
    )
    clock.move(hours=24)
    assert address_read(actor=donor, agreement=agreement).town == "Elsewhere"


def test_taking_an_address_back_and_stating_another_is_a_change(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = agree(bargain.pairing)
    address_remove(actor=recipient)
    assert not AgreementAddress.objects.exists() and not Address.objects.exists()
    assert told(donor)[-1][1] == (
        "The address for the parcel with 'Ferry' has been taken back; ask before you post anything."
    )
    assert told(recipient)[-1][0] == "address_removed"
    refused(lambda: address_read(actor=donor, agreement=agreement), Conflict)
    address_set(actor=recipient, **{**HOME, "town": "Elsewhere"})
    refused(lambda: address_read(actor=donor, agreement=agreement), AddressCooling)
    refused(lambda: address_remove(actor=donor), NotFound)


def test_a_change_just_before_the_second_yes_waits_too(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = propose(bargain.pairing)
    clock.move(hours=1)
    address_set(actor=recipient, town="Elsewhere")
    accept(agreement)
    refused(lambda: address_read(actor=donor, agreement=agreement), AddressCooling)
    clock.move(hours=24)
    assert address_read(actor=donor, agreement=agreement).town == "Elsewhere"


def test_only_agreements_that_both_said_yes_to_get_a_change(
    bargain: Bargain, recipient: Grower, outsider: Grower
) -> None:
    address_set(actor=recipient, **HOME)
    over = agree(bargain.pairing)
    agreement_withdraw(actor=recipient, agreement=over)
    of_another = agree(bargain.wanted_by(outsider), doses=1)
    propose(bargain.pairing, doses=1)
    address_set(actor=recipient, town="Elsewhere")
    address_set(actor=outsider, **HOME)
    assert AgreementEvent.objects.filter(kind="address_changed").count() == 0
    assert AgreementAddress.objects.get().agreement == of_another


# --- erased ---


def _lapse_by_sweep(agreement: Agreement, clock: MovableClock) -> None:
    clock.move(days=200)
    run_due(project_clock.now(), limit=50)


def _send_and_end(agreement: Agreement, clock: MovableClock) -> None:
    state_papers(agreement)
    agreement_send(actor=agreement.donor, agreement=agreement)
    assert AgreementAddress.objects.exists()
    agreement_end(actor=agreement.recipient, agreement=agreement)


ENDS: dict[str, Callable[[Agreement, MovableClock], object]] = {
    "withdrawn by the donor": lambda a, _: agreement_withdraw(actor=a.donor, agreement=a),
    "withdrawn by the recipient": lambda a, _: agreement_withdraw(actor=a.recipient, agreement=a),
    "postponed": lambda a, _: agreement_postpone(actor=a.recipient, agreement=a),
    "nothing collected": lambda a, _: offer_came_up_short(actor=a.donor, offer=a.offer, doses=0),
    "sent and closed": _send_and_end,
    "lapsed": _lapse_by_sweep,
}


@pytest.mark.parametrize("end", ENDS)
def test_with_the_agreement_the_address_goes(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock, end: str
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = agree(bargain.pairing)
    ENDS[end](agreement, clock)
    agreement.refresh_from_db()
    assert agreement.state in ("ended", "lapsed")
    assert not AgreementAddress.objects.exists()
    assert refused(lambda: address_read(actor=donor, agreement=agreement), Conflict).detail == (
        f"The agreement is {agreement.state}; its address has been erased."
    )
    assert address_own(actor=recipient).address == CLEAR


def test_what_has_run_out_is_not_read_before_it_is_swept(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    address_set(actor=recipient, **HOME)
    agreement = agree(bargain.pairing)
    clock.move(days=200)
    assert Agreement.objects.get().state == "agreed"
    error = refused(lambda: address_read(actor=donor, agreement=agreement), Conflict)
    assert error.detail == "The agreement is lapsed; its address has been erased."
