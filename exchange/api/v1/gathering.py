"""Gatherings: a steward who says that they hold a permit takes in parcels and posts them on inland."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet

from exchange.api.operation import Call, act, change, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.v1.gathering_form import (
    GATHERING,
    NEW_GATHERING,
    STEWARDS,
    DetourOut,
    GatheringFieldsIn,
    GatheringIn,
    GatheringOut,
    GatheringQuery,
)
from exchange.models import Detour, Gathering
from exchange.selectors.detour import DetourForViewer, detour_for, detours_known
from exchange.selectors.gathering import (
    GatheringForViewer,
    gathering_for,
    gatherings_joinable,
    gatherings_known,
)
from exchange.services.gathering import (
    gathering_call_off,
    gathering_change,
    gathering_close,
    gathering_create,
)
from growers.models import Grower, Site

ACTS: dict[str, Any] = {"problems": ("not_found", "conflict"), "keyed": True}


class OfViewer(Resource):
    """Gatherings for the eyes of whoever asks."""

    tag = "gatherings"

    def rows(self, call: Call) -> QuerySet[Gathering]:
        """Own ones, those one could join, those in which one has a place."""
        return gatherings_known(call.grower)

    def represent(self, row: Gathering) -> GatheringForViewer:
        """What the viewer may read of it."""
        viewer = cast(Grower, self.request.user)
        known = row if hasattr(row, "sends_by_it") else gatherings_known(viewer).get(pk=row.pk)
        return gathering_for(viewer, known)


class GatheringList(OfViewer):
    """All that concern one."""

    @page(
        "gathering_list",
        "Gatherings",
        GatheringOut,
        example=GATHERING,
        order=("reach_from", "public_id"),
        query=GatheringQuery,
    )
    def get(self, call: Call) -> QuerySet[Gathering]:
        """The earliest first: your own, those you could join, those in which you have a place."""
        asked = dict(call.query)
        rows = gatherings_joinable(call.grower) if asked.pop("joinable", False) else self.rows(call)
        return rows.filter(**asked)

    @create(
        "gathering_create",
        "Open a gathering",
        GatheringIn,
        GatheringOut,
        example=GATHERING,
        body_example=NEW_GATHERING,
        at="gathering",
    )
    def post(self, call: Call) -> Gathering:
        """As its steward: others read your region and country, the days and until when the permit holds.

        The permit's number is told to donors whose packet goes by way of you and to nobody else. Nobody here
        checks it, and nothing here says that an import may take place.
        """
        fields = dict(call.data)
        own = Site.objects.filter(grower=call.grower)
        site: Any = row_named(own, fields.pop("site_id"), field="site_id", what="a site")
        with fields_named({}):
            return gathering_create(actor=call.grower, site=site, **fields)


class GatheringItem(OfViewer):
    """One gathering."""

    @read("gathering_read", "One gathering", GatheringOut, example=GATHERING, problems=("not_found",))
    def get(self, call: Call) -> Gathering:
        """For its steward, for those who could join it and those who have a place in it."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "gathering_change",
        "Change a gathering",
        GatheringFieldsIn,
        GatheringOut,
        example=GATHERING,
        body_example={"note": "not on Saturdays"},
        problems=("not_found", "conflict"),
    )
    def patch(self, call: Call) -> Gathering:
        """For its steward; its days stay as they are while somebody has a place or asks for one."""
        return gathering_change(actor=call.grower, gathering=call.row, **call.data)


class GatheringClose(OfViewer):
    """No more places."""

    @act(
        "gathering_close",
        "Close a gathering",
        GatheringOut,
        example={**GATHERING, "state": "closed"},
        **ACTS,
    )
    def post(self, call: Call) -> Gathering:
        """For its steward: nobody can ask for a place any more; places that were given stay."""
        return gathering_close(actor=call.grower, gathering=call.row)


class GatheringCallOff(OfViewer):
    """Not at all."""

    @act(
        "gathering_call_off",
        "Call off a gathering",
        GatheringOut,
        example={**GATHERING, "state": "called_off"},
        **ACTS,
    )
    def post(self, call: Call) -> Gathering:
        """For its steward, before a parcel is dispatched: all places are taken back, and that is told."""
        return gathering_call_off(actor=call.grower, gathering=call.row)


class GatheringDetours(OfViewer):
    """Places in a gathering."""

    def represent_each(self, rows: list[Any]) -> Iterable[DetourForViewer]:
        """Those that the viewer may know of."""
        viewer = cast(Grower, self.request.user)
        return [detour_for(viewer, row) for row in rows]

    @page(
        "gathering_detour_list",
        "Places in a gathering",
        DetourOut,
        example=STEWARDS,
        order=("created_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[Detour]:
        """To its steward all to which recipient and donor have said yes, to others their own."""
        return detours_known(call.grower).filter(gathering=call.row)
