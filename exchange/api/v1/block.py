"""Blocks: whom the viewer does not want to meet; the other is not told."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, create, page, read, remove
from exchange.api.reference import row_named
from exchange.api.resource import Resource
from exchange.api.strict import Id, StrictSerializer, Text
from exchange.models import Block
from exchange.selectors.agreement import agreements_of
from exchange.selectors.block import blocks_of, grower_to_block
from exchange.selectors.pairing import pairings_of
from exchange.services.block import block_create, block_remove
from growers.errors import FieldProblem, InvalidInput
from growers.models import Grower

BLOCK = {
    "id": "4b3a2918-0706-4f5e-8d4c-3b2a19080706",
    "handle": "pond by the mill",
    "created_at": "2027-07-03T19:00:00Z",
}
WAYS = ("handle", "agreement_id", "pairing_id")


class BlockOut(serializers.Serializer[Any]):
    """Somebody whom the viewer has blocked."""

    id = serializers.UUIDField(source="public_id")
    handle = serializers.SerializerMethodField(
        help_text="Null where the viewer knew the other by a region only."
    )
    created_at = serializers.DateTimeField()

    def get_handle(self, block: Block) -> str | None:
        """The handle, if the viewer knows it anyway."""
        return block.blocked.handle if block.handle_known else None


class BlockIn(StrictSerializer):
    """Whom: by one of the three."""

    handle = Text(max_length=40, required=False)
    agreement_id = Id(required=False)
    pairing_id = Id(required=False)


class OfBlocker(Resource):
    """Blocks of whoever asks."""

    tag = "blocks"

    def rows(self, call: Call) -> QuerySet[Block]:
        """The viewer's own."""
        return blocks_of(call.grower)


class BlockList(OfBlocker):
    """Whom the viewer has blocked."""

    @page("block_list", "Whom you blocked", BlockOut, example=BLOCK, order=("-created_at", "public_id"))
    def get(self, call: Call) -> QuerySet[Block]:
        """Newest first; only you can read it."""
        return self.rows(call)

    @create(
        "block_create",
        "Block a grower",
        BlockIn,
        BlockOut,
        example=BLOCK,
        body_example={"handle": "pond by the mill"},
        at="block",
    )
    def post(self, call: Call) -> Block:
        """You do not meet any more: no pairing, agreement or plant of the one is shown to the other.

        By a handle, or as the other side of an agreement or a pairing of yours. Agreements between you end,
        doses go back; the other reads that you had to step back, and never that you blocked them.
        """
        other, handle_known = _other(call)
        return block_create(actor=call.grower, blocked=other, handle_known=handle_known)


class BlockItem(OfBlocker):
    """One of the viewer's blocks."""

    @read("block_read", "One of your blocks", BlockOut, example=BLOCK, problems=("not_found",))
    def get(self, call: Call) -> Block:
        """Only you can read it."""
        return call.row  # type: ignore[no-any-return]

    @remove("block_remove", "Take a block back", problems=("not_found",))
    def delete(self, call: Call) -> None:
        """What has ended stays so; what fits is proposed anew by the matching."""
        block_remove(actor=call.grower, block=call.row)


def _other(call: Call) -> tuple[Grower, bool]:
    """Whom the body means, and whether the viewer knows their handle."""
    stated = [name for name in WAYS if name in call.data]
    if len(stated) != 1:
        detail = f"State one of {', '.join(WAYS)}; {len(stated) or 'none'} is stated."
        raise InvalidInput(detail, problems=(FieldProblem("", "state_one", detail),))
    if "handle" in call.data:
        return _by_handle(call.grower, call.data["handle"]), True
    if "agreement_id" in call.data:
        return _by_agreement(call.grower, call.data["agreement_id"])
    return _by_pairing(call.grower, call.data["pairing_id"])


def _by_handle(viewer: Grower, handle: str) -> Grower:
    other = grower_to_block(viewer, handle)
    if other is None:
        detail = "handle is not a grower that you can block."
        raise InvalidInput(detail, problems=(FieldProblem("/handle", "not_found", detail),))
    return other


def _by_agreement(viewer: Grower, public_id: Any) -> tuple[Grower, bool]:
    own = agreements_of(viewer)
    agreement: Any = row_named(own, public_id, field="agreement_id", what="an agreement")
    if agreement.donor_id == viewer.pk:
        return agreement.recipient, agreement.agreed_at is not None
    return agreement.donor, True


def _by_pairing(viewer: Grower, public_id: Any) -> tuple[Grower, bool]:
    own = pairings_of(viewer)
    pairing: Any = row_named(own, public_id, field="pairing_id", what="a pairing")
    if pairing.offer.plant.grower_id == viewer.pk:
        return pairing.wanted_cross.seed_parent.grower, False
    return pairing.offer.plant.grower, True
