"""Addresses: the viewer's own, the recipient's for the donor of an agreement, and who read it."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.errors import ApiProblem
from exchange.api.operation import Call, act, change, page, read, remove
from exchange.api.resource import Resource
from exchange.api.strict import StrictSerializer, Text, Words
from exchange.api.throttle import sign_in_counted
from exchange.api.v1.agreement import OVER, OfAgreement
from exchange.models import AddressView
from exchange.selectors.address import address_views_of
from exchange.services.account import is_grower_themselves
from exchange.services.address import OwnAddress, address_own, address_remove, address_set
from exchange.services.agreement_address import address_read
from exchange.services.postal_address import LONGEST, MOST_LINES, PostalAddress
from growers.models import Grower

POSTAL_ADDRESS: dict[str, Any] = {
    "name": "A. Grower",
    "lines": ["1 Mill Lane"],
    "postal_code": "00000",
    "town": "Pondville",
    "country": "DE",
}
ADDRESS = {**POSTAL_ADDRESS, "changed_at": "2027-06-20T07:30:00Z"}
ADDRESS_VIEW = {
    "id": "7e6d5c4b-3a29-4180-9f0e-1d2c3b4a5968",
    "agreement_id": "c1d2e3f4-a5b6-4c7d-8e9f-0a1b2c3d4e5f",
    "viewer": "pond by the mill",
    "viewed_at": "2027-07-02T09:00:00Z",
}


class PostalAddressOut(serializers.Serializer[Any]):
    """Where parcels go."""

    name = serializers.CharField()
    lines = serializers.ListField(child=serializers.CharField())
    postal_code = serializers.CharField()
    town = serializers.CharField()
    country = serializers.CharField(help_text="ISO 3166 alpha-2.")


class AddressOut(PostalAddressOut):
    """The viewer's own address; empty, and `changed_at` null, where none is stated."""

    changed_at = serializers.DateTimeField(allow_null=True)


class AddressIn(StrictSerializer):
    """Where the viewer has parcels sent to, with the password that signs them in."""

    password = Text(max_length=256, help_text="Always: a token alone does not change an address.")
    code = Text(max_length=32, required=False, help_text="Of the second factor, where one is set.")
    name = Text(max_length=LONGEST["name"])
    lines = Words(child=Text(max_length=LONGEST["lines"]), min_length=1, max_length=MOST_LINES)
    postal_code = Text(max_length=LONGEST["postal_code"], required=False, allow_blank=True)
    town = Text(max_length=LONGEST["town"])
    country = Text(max_length=2, help_text="ISO 3166 alpha-2.")


class AddressViewOut(serializers.Serializer[Any]):
    """A partner read the viewer's address."""

    id = serializers.UUIDField(source="public_id")
    agreement_id = serializers.UUIDField(source="agreement.public_id")
    viewer = serializers.CharField(source="viewer.handle", help_text="A handle.")
    viewed_at = serializers.DateTimeField(source="created_at")


class MyAddress(Resource):
    """The viewer's own address."""

    tag = "addresses"

    def find(self, call: Call, path: Any) -> Grower:
        """Always the viewer."""
        return call.grower

    def represent(self, row: Grower | OwnAddress) -> dict[str, Any]:
        """In clear: it is the viewer's own."""
        own = row if isinstance(row, OwnAddress) else address_own(actor=row)
        return {**postal_address_shown(own.address), "changed_at": own.changed_at}

    def admit(self, call: Call) -> None:
        """Whoever states an address shows that they are not just in possession of a token or a session."""
        if call.request.method != "PATCH":
            return
        password, code = call.data.pop("password", ""), call.data.pop("code", "")
        sign_in_counted(call.request, call.grower.email or "")
        if not is_grower_themselves(grower=call.grower, password=password, code=code):
            raise ApiProblem("password_wrong")

    @read("address_read", "Your address", AddressOut, example=ADDRESS, secret=True)
    def get(self, call: Call) -> Grower:
        """Only you, and the donors who send you pollen while an agreement lasts."""
        return call.grower

    @change(
        "address_change",
        "State or change your address",
        AddressIn,
        AddressOut,
        example=ADDRESS,
        body_example={"password": "correct horse battery", **POSTAL_ADDRESS},
        problems=("password_wrong",),
        secret=True,
    )
    def patch(self, call: Call) -> OwnAddress:
        """With the password, and the code of a second factor where one is set; what is not stated stays.

        It is kept encrypted. Agreements that last get it at once if they had none; after a change it can be
        read from the next day on, and both growers are told.
        """
        return address_set(actor=call.grower, **call.data)

    @remove("address_remove", "Take your address back", problems=("not_found",))
    def delete(self, call: Call) -> None:
        """From agreements that last too; their donors are told."""
        address_remove(actor=call.grower)


class AgreementAddressRead(OfAgreement):
    """The recipient's address for the donor."""

    def represent(self, row: PostalAddress) -> dict[str, Any]:  # type: ignore[override]
        """In clear: that it was read is noted."""
        return postal_address_shown(row)

    @act(
        "agreement_address_read",
        "Read where to send the parcel",
        PostalAddressOut,
        example=POSTAL_ADDRESS,
        problems=OVER,
        keyed=True,
        secret=True,
    )
    def post(self, call: Call) -> PostalAddress:
        """By the donor, from the second yes until the agreement ends; its owner sees each call.

        409 while none is stated, for a day after a change (`errors` say until when), and when it is over.
        The answer is not kept for a replay.
        """
        return address_read(actor=call.grower, agreement=call.row)


class AddressViewList(Resource):
    """Who read the viewer's address."""

    tag = "addresses"

    @page(
        "address_view_list",
        "Who read your address",
        AddressViewOut,
        example=ADDRESS_VIEW,
        order=("-created_at", "public_id"),
    )
    def get(self, call: Call) -> QuerySet[AddressView]:
        """Every time, newest first; whoever read it cannot take it out of this list."""
        return address_views_of(call.grower)


def postal_address_shown(address: PostalAddress) -> dict[str, Any]:
    """An address in clear."""
    return {name: getattr(address, name) for name in POSTAL_ADDRESS}
