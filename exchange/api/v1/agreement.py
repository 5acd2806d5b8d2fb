"""Agreements: two yeses, and what may change after them."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet

from exchange.api.operation import Call, act, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.v1.agreement_form import (
    AGREED,
    AGREEMENT,
    ENDED,
    NEW_AGREEMENT,
    AcceptIn,
    AgreementIn,
    AgreementOut,
    AgreementQuery,
    DeclineIn,
    DosesIn,
)
from exchange.models import Agreement
from exchange.selectors.agreement import AgreementForViewer, agreements_for, agreements_of, in_state
from exchange.selectors.pairing import pairings_of
from exchange.services.agreement import agreement_accept, agreement_decline, agreement_propose
from exchange.services.agreement_change import (
    agreement_end,
    agreement_postpone,
    agreement_send,
    agreement_send_less,
    agreement_withdraw,
)
from growers import clock
from growers.models import Grower

DOSES_SHORT = ("not_found", "conflict", "doses_short")
OVER = ("not_found", "conflict")


class OfAgreement(Resource):
    """Agreements for the eyes of whoever asks."""

    tag = "agreements"

    def rows(self, call: Call) -> QuerySet[Agreement]:
        """Those that the viewer is a side of."""
        return agreements_of(call.grower)

    def represent(self, row: Agreement) -> AgreementForViewer:
        """What the viewer may read of it, as it is now."""
        return agreements_for(self.viewer, [agreements_of(self.viewer).get(pk=row.pk)])[0]

    def represent_each(self, rows: list[Any]) -> Iterable[AgreementForViewer]:
        """In one query."""
        return agreements_for(self.viewer, rows)

    @property
    def viewer(self) -> Grower:
        """Who asks."""
        return cast(Grower, self.request.user)


class AgreementList(OfAgreement):
    """The viewer's agreements."""

    @page(
        "agreement_list",
        "Your agreements",
        AgreementOut,
        example=AGREEMENT,
        order=("-created_at", "public_id"),
        query=AgreementQuery,
    )
    def get(self, call: Call) -> QuerySet[Agreement]:
        """Newest first, as donor or as recipient; what has run out reads as lapsed."""
        rows, asked = self.rows(call), call.query
        if "state" in asked:
            rows = in_state(rows, asked["state"], clock.now())
        if "role" in asked:
            rows = rows.filter(**{asked["role"]: call.grower})
        if "updated_since" in asked:
            rows = rows.filter(changed_at__gte=asked["updated_since"])
        return rows

    @create(
        "agreement_create",
        "Say yes to a pairing",
        AgreementIn,
        AgreementOut,
        example={**AGREEMENT, "proposed_by_you": True},
        body_example=NEW_AGREEMENT,
        problems=("conflict", "doses_short"),
        at="agreement",
    )
    def post(self, call: Call) -> Agreement:
        """The first yes; nothing is reserved before the other says yes too.

        Whoever takes the pollen ticks the terms of the offer, all of them; a donor who posts across a
        border chooses `post_from`.
        """
        fields = dict(call.data)
        own = pairings_of(call.grower)
        pairing: Any = row_named(own, fields.pop("pairing_id"), field="pairing_id", what="a pairing")
        with fields_named({}):
            return agreement_propose(actor=call.grower, pairing=pairing, **fields)


class AgreementItem(OfAgreement):
    """One of the viewer's agreements."""

    @read(
        "agreement_read", "One of your agreements", AgreementOut, example=AGREEMENT, problems=("not_found",)
    )
    def get(self, call: Call) -> Agreement:
        """With everything that happened to it."""
        return call.row  # type: ignore[no-any-return]


class AgreementAccept(OfAgreement):
    """The second yes."""

    @act(
        "agreement_accept",
        "Say yes too",
        AgreementOut,
        body=AcceptIn,
        example=AGREED,
        body_example={"post_from": "home"},
        problems=DOSES_SHORT,
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """The doses are reserved with it, or 409 says how many are left and nothing has happened."""
        return agreement_accept(actor=call.grower, agreement=call.row, **call.data)


class AgreementDecline(OfAgreement):
    """No to the other's yes."""

    @act(
        "agreement_decline",
        "Say no, kindly",
        AgreementOut,
        body=DeclineIn,
        example={**ENDED, "state": "declined", "end_reason": "not_in_bloom"},
        body_example={"reason": "not_in_bloom"},
        problems=OVER,
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """The other reads the reason as a sentence."""
        return agreement_decline(actor=call.grower, agreement=call.row, **call.data)


class AgreementWithdraw(OfAgreement):
    """Step back."""

    @act(
        "agreement_withdraw",
        "Step back from an agreement",
        AgreementOut,
        example={**ENDED, "end_reason": "withdrawn"},
        problems=OVER,
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """Of one's own first yes, or after both; reserved doses go back at once. 409 once they are sent."""
        return agreement_withdraw(actor=call.grower, agreement=call.row)


class AgreementPostpone(OfAgreement):
    """Next season instead."""

    @act(
        "agreement_postpone",
        "Put it off to next season",
        AgreementOut,
        example={**ENDED, "end_reason": "postponed"},
        problems=OVER,
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """Reserved doses go back; offer and wanted cross stay, so that it can be proposed again."""
        return agreement_postpone(actor=call.grower, agreement=call.row)


class AgreementSendLess(OfAgreement):
    """Fewer doses than agreed."""

    @act(
        "agreement_send_less",
        "Send fewer doses than agreed",
        AgreementOut,
        body=DosesIn,
        example={**AGREED, "doses": 1},
        body_example={"doses": 1},
        problems=OVER,
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """The donor says how many the recipient still gets; the rest goes back at once."""
        return agreement_send_less(actor=call.grower, agreement=call.row, **call.data)


class AgreementSend(OfAgreement):
    """The doses leave."""

    @act(
        "agreement_send",
        "Hand the doses over",
        AgreementOut,
        example={**AGREED, "reserved_until": None, "sent": True},
        problems=OVER,
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """By the donor. Across a border both state their side of the papers first; 409 says what lacks."""
        return agreement_send(actor=call.grower, agreement=call.row)


class AgreementEnd(OfAgreement):
    """The end of its story."""

    @act("agreement_end", "Close an agreement", AgreementOut, example=ENDED, problems=OVER, keyed=True)
    def post(self, call: Call) -> Agreement:
        """By either, once the doses have been sent; the address is erased with it."""
        return agreement_end(actor=call.grower, agreement=call.row)
