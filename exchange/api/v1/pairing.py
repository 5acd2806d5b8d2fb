"""Pairings: what the exchange proposes, as each of the two growers may read it."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import Q, QuerySet
from django.utils.translation import get_language
from rest_framework import serializers

from exchange.api.operation import Call, Operation, act, page, read
from exchange.api.remembered import Remembered
from exchange.api.resource import Resource
from exchange.api.strict import Instant, StrictSerializer
from exchange.api.v1.pairing_form import PAIRING, PAIRING_WHOLE, PairingOut, PairingWholeOut
from exchange.models import Pairing
from exchange.selectors.pairing import PairingForViewer, pairings_for, pairings_of, with_earlier
from exchange.selectors.pairing_stamp import light, stamp_of, stamps
from exchange.services.pairing import pairing_dismiss, pairing_seen
from growers.models import Grower

RENDERED = Remembered(1_000)
"""Some kilobytes each."""


class PairingQuery(StrictSerializer):
    """Which pairings; an offer or a wanted cross must be the viewer's own."""

    state = serializers.ChoiceField(Pairing.State.choices, required=False)
    offer = serializers.UUIDField(required=False)
    wanted_cross = serializers.UUIDField(required=False)
    earlier = serializers.BooleanField(required=False, help_text="Told long ago and not seen, or not so.")
    updated_since = Instant(
        required=False, help_text="Written, superseded or dismissed at this instant or later."
    )


class OfViewer(Resource):
    """Pairings for the eyes of whoever asks."""

    tag = "pairings"

    def rows(self, call: Call) -> QuerySet[Pairing]:
        """Those that the viewer is a side of."""
        return pairings_of(call.grower)

    def represent(self, row: Pairing) -> PairingForViewer:
        """What the viewer may read of it."""
        return pairings_for(self.viewer, [row])[0]

    def represent_each(self, rows: list[Any]) -> Iterable[PairingForViewer]:
        """In one query."""
        return pairings_for(self.viewer, rows)

    @property
    def viewer(self) -> Grower:
        """Who asks."""
        return cast(Grower, self.request.user)


class PairingList(OfViewer):
    """The viewer's pairings."""

    @page(
        "pairing_list",
        "Your pairings",
        PairingOut,
        example=PAIRING,
        order=("-created_at", "public_id"),
        query=PairingQuery,
    )
    def get(self, call: Call) -> QuerySet[Pairing, Any]:
        """Newest first, as donor or as recipient; without the day-by-day timeline."""
        pairings, asked = light(call.grower), call.query
        if "state" in asked:
            pairings = pairings.filter(state=asked["state"])
        if "earlier" in asked:
            pairings = with_earlier(call.grower, pairings).filter(Q(earlier=asked["earlier"]))
        if "offer" in asked:
            pairings = pairings.filter(offer__public_id=asked["offer"], offer__plant__grower=call.grower)
        if "wanted_cross" in asked:
            pairings = pairings.filter(
                wanted_cross__public_id=asked["wanted_cross"],
                wanted_cross__seed_parent__grower=call.grower,
            )
        if "updated_since" in asked:
            pairings = pairings.filter(changed_at__gte=asked["updated_since"])
        return pairings

    def rendered_each(self, operation: Operation, rows: list[Any]) -> Iterable[bytes]:
        """As rendered before where the stamp is the same; all others in one query."""
        language, known = get_language(), stamps(self.viewer, rows)
        found = {key: RENDERED.get((language, stamp)) for key, stamp in known.items()}
        missing = [key for key, part in found.items() if part is None]
        if missing:
            made = list(pairings_of(self.viewer).defer("timeline").filter(pk__in=missing))
            for row, part in zip(made, super().rendered_each(operation, made), strict=True):
                RENDERED.keep((language, stamp_of(self.viewer, row)), part)
                found[row.pk] = part
        return [part for part in found.values() if part is not None]


class PairingItem(OfViewer):
    """One of the viewer's pairings."""

    @read(
        "pairing_read",
        "One of your pairings",
        PairingWholeOut,
        example=PAIRING_WHOLE,
        problems=("not_found",),
    )
    def get(self, call: Call) -> Pairing:
        """Superseded and dismissed ones stay readable. The seed parent is its own grower's secret."""
        return call.row  # type: ignore[no-any-return]


class PairingDismiss(OfViewer):
    """Never show a pairing again."""

    @act(
        "pairing_dismiss",
        "Never show this pairing again",
        PairingWholeOut,
        example={**PAIRING_WHOLE, "state": "dismissed"},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> Pairing:
        """The offer and the wanted cross are not proposed to each other again; 409 if it is superseded."""
        pairing_dismiss(actor=call.grower, pairing=call.row)
        return self.rows(call).get(pk=call.row.pk)


class PairingSeen(OfViewer):
    """A pairing that was looked at."""

    @act(
        "pairing_seen",
        "Say that you have seen a pairing",
        PairingWholeOut,
        example=PAIRING_WHOLE,
        problems=("not_found",),
    )
    def post(self, call: Call) -> Pairing:
        """It no longer counts as an earlier proposal; the other is not told."""
        pairing_seen(actor=call.grower, pairing=call.row)
        return self.rows(call).get(pk=call.row.pk)
