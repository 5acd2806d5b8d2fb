"""Detours: the way of an agreement's packets through a gathering, with a yes of all three."""

from typing import Any, cast

from django.db.models import QuerySet

from exchange.api.operation import Call, act, read
from exchange.api.reference import row_named
from exchange.api.resource import Resource
from exchange.api.v1.address import POSTAL_ADDRESS, PostalAddressOut, postal_address_shown
from exchange.api.v1.gathering_form import DETOUR, DONORS, STEWARDS, DetourIn, DetourOut, DetourYesIn
from exchange.models import Agreement
from exchange.selectors.detour import (
    DetourForViewer,
    agreements_with_detours,
    detour_for,
    detour_of,
    detours_known,
)
from exchange.selectors.gathering import gatherings_known
from exchange.services.detour import (
    detour_accept,
    detour_ask,
    detour_decline,
    detour_withdraw,
    detour_yes,
)
from exchange.services.detour_address import detour_address_read
from exchange.services.postal_address import PostalAddress
from growers.models import Grower

ACTS: dict[str, Any] = {"problems": ("not_found", "conflict"), "keyed": True}
OVER = {"ended_at": "2027-07-03T08:00:00Z", "changed_at": "2027-07-03T08:00:00Z"}


class OfDetour(Resource):
    """Detours of agreements, for the eyes of whoever asks."""

    tag = "gatherings"

    def rows(self, call: Call) -> QuerySet[Agreement]:
        """Agreements of the viewer's, and those that ask a yes of them as a steward."""
        return agreements_with_detours(call.grower)

    def represent(self, row: Agreement) -> DetourForViewer:
        """The latest detour of the agreement."""
        viewer = cast(Grower, self.request.user)
        return detour_for(viewer, detour_of(viewer, row))


class AgreementDetour(OfDetour):
    """The detour of one agreement."""

    def rows(self, call: Call) -> QuerySet[Agreement]:
        """To be read, those that have one; to ask, all of the viewer's."""
        rows = super().rows(call)
        if call.request.method == "POST":
            return rows
        return rows.filter(pk__in=detours_known(call.grower).order_by().values("agreement"))

    @read("detour_read", "The detour of an agreement", DetourOut, example=DETOUR, problems=("not_found",))
    def get(self, call: Call) -> Agreement:
        """The latest, with what it costs; 404 while none was asked for.

        The steward reads it from the donor's yes on.
        """
        return call.row  # type: ignore[no-any-return]

    @act(
        "detour_ask",
        "Ask for a place in a gathering",
        DetourOut,
        body=DetourIn,
        example=DETOUR,
        body_example={"gathering_id": DETOUR["gathering_id"]},
        **{**ACTS, "problems": ("not_found", "conflict", "invalid_input")},
    )
    def post(self, call: Call) -> Agreement:
        """By the recipient, once both have said yes to the agreement and before anything is sent.

        The answer says what it costs: the chance of each flower on both ways. 409 with both numbers where too
        little is left for the wanted cross, or for what the donor named.
        """
        known = gatherings_known(call.grower)
        named = call.data["gathering_id"]
        gathering: Any = row_named(known, named, field="gathering_id", what="a gathering")
        detour_ask(actor=call.grower, agreement=call.row, gathering=gathering)
        return call.row  # type: ignore[no-any-return]


class DetourYes(OfDetour):
    """The donor's yes."""

    @act(
        "detour_yes",
        "Say yes to a detour of your pollen",
        DetourOut,
        body=DetourYesIn,
        example=DONORS,
        body_example={"least_chance": 0.001},
        **{**ACTS, "problems": ("not_found", "conflict", "invalid_input")},
    )
    def post(self, call: Call) -> Agreement:
        """By the donor: it goes through a third hand. With less than `least_chance` it does not go."""
        detour_yes(actor=call.grower, agreement=call.row, **call.data)
        return call.row  # type: ignore[no-any-return]


class DetourAccept(OfDetour):
    """The steward's yes."""

    @act("detour_accept", "Take a packet into your gathering", DetourOut, example=STEWARDS, **ACTS)
    def post(self, call: Call) -> Agreement:
        """By the steward, the last yes: they answer for the permit. Packets go by way of them from now on."""
        detour_accept(actor=call.grower, agreement=call.row)
        return call.row  # type: ignore[no-any-return]


class DetourDecline(OfDetour):
    """No."""

    @act(
        "detour_decline",
        "Say no to a detour",
        DetourOut,
        example={**DETOUR, **OVER, "state": "declined"},
        **ACTS,
    )
    def post(self, call: Call) -> Agreement:
        """By the donor or the steward; the direct way is as it was before."""
        detour_decline(actor=call.grower, agreement=call.row)
        return call.row  # type: ignore[no-any-return]


class DetourWithdraw(OfDetour):
    """A yes taken back."""

    @act(
        "detour_withdraw",
        "Take back your yes to a detour",
        DetourOut,
        example={**DETOUR, **OVER, "state": "withdrawn"},
        **ACTS,
    )
    def post(self, call: Call) -> Agreement:
        """By any of the three, until the parcel is dispatched; the direct way is as it was before."""
        detour_withdraw(actor=call.grower, agreement=call.row)
        return call.row  # type: ignore[no-any-return]


class DetourAddress(OfDetour):
    """Where to send it next."""

    def represent(self, row: PostalAddress) -> dict[str, Any]:  # type: ignore[override]
        """In clear: that it was read is noted."""
        return postal_address_shown(row)

    @act(
        "detour_address_read",
        "Read where to send the parcel of a detour",
        PostalAddressOut,
        example=POSTAL_ADDRESS,
        secret=True,
        **ACTS,
    )
    def post(self, call: Call) -> PostalAddress:
        """By the donor the steward's, once all three have said yes; by the steward the recipient's.

        The steward reads it once the packet lies with them. The owner of the address sees each call.
        """
        return detour_address_read(actor=call.grower, agreement=call.row)
