"""Temperatures of lots and packets: loggers' files, previewed and applied, and what was felt by hand."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

from django.db.models import QuerySet

from exchange.api.file import File
from exchange.api.operation import Call, act, create, document, page
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.v1.lot import OfViewer
from exchange.api.v1.temperature_form import (
    FELT,
    FIELDS,
    FILE,
    PREVIEW,
    TEMPERATURE,
    FeltIn,
    LoggerConfirmedIn,
    LoggerFormParser,
    LoggerIn,
    TemperatureOut,
    TemperaturePreviewOut,
    choices_stated,
    confirmed_shown,
    preview_shown,
)
from exchange.models import TemperatureUpload
from exchange.selectors.packet import packets_known
from exchange.selectors.temperature import (
    TemperatureForViewer,
    temperature_for,
    temperature_photos,
    temperatures_of,
)
from exchange.services.photo import MEDIA_TYPE
from exchange.services.temperature import TemperaturePreview, temperature_apply, temperature_preview
from exchange.services.temperature_felt import temperature_felt
from exchange.services.temperature_file import WithPollen
from growers.models import Grower

AS_SHOWN = {
    "file": FILE,
    "delimiter": "semicolon",
    "decimal_mark": "point",
    "time_column": "Time (UTC)",
    "temperature_column": "Temperature (°C)",
    "unit": "C",
    "date_order": "year_first",
    "zone": "UTC",
    "clock": "stays",
}


class OfLot(OfViewer):
    """Temperatures of one lot, for the eyes of whoever asks."""

    def represent(self, row: TemperatureUpload) -> TemperatureForViewer:  # type: ignore[override]
        """What the viewer may read of it, in the words of the form."""
        shown = temperature_for(cast(Grower, self.request.user), row)
        return replace(shown, confirmed=confirmed_shown(shown.confirmed) if shown.confirmed else None)

    def packet(self, call: Call) -> Any:
        """The packet that is named."""
        rows = packets_known(call.grower).filter(lot=call.row).select_related("agreement")
        return row_named(rows, call.data.get("packet_id"), field="packet_id", what="a packet")

    def again(self, call: Call, upload: TemperatureUpload) -> TemperatureUpload:
        """A row as it is stored."""
        return temperatures_of(call.grower, call.row).get(pk=upload.pk)


class WithFile(OfLot):
    """A logger's file comes with it."""

    parser_classes = [LoggerFormParser]

    def stated(self, call: Call) -> dict[str, Any]:
        """A logger's file and what is stated of it, as the services take it."""
        fields = call.data
        return {
            "actor": call.grower,
            "lot": call.row,
            "packet": self.packet(call),
            "content": fields["file"].read(),
            "choices": choices_stated(fields),
            "beside": WithPollen(fields.get("with_it_since"), fields.get("with_it_until")),
        }


class LotTemperatures(WithFile):
    """What loggers read."""

    @page(
        "temperature_list",
        "Temperatures of a lot",
        TemperatureOut,
        example=TEMPERATURE,
        order=("began_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[TemperatureUpload]:
        """For its grower all, for a partner those of the lot and of packets that concern them."""
        return temperatures_of(call.grower, call.row)

    @create(
        "temperature_create",
        "Apply a logger's file",
        LoggerConfirmedIn,
        TemperatureOut,
        example=TEMPERATURE,
        body_example=AS_SHOWN,
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> TemperatureUpload:
        """Of your own lot, or of a packet that you hold or that is for you; all concerned are told.

        Send every choice as `temperatures/preview` showed it. A file with faults is refused whole, each
        fault with its row and column; the same file is applied once.
        """
        photo = call.data.get("photo")
        with fields_named(FIELDS):
            upload = temperature_apply(**self.stated(call), photo=None if photo is None else photo.read())
        return self.again(call, upload)


class LotTemperaturePreview(WithFile):
    """What a logger's file would do."""

    def represent(self, row: TemperaturePreview) -> Mapping[str, Any]:  # type: ignore[override]
        """In the words of the form."""
        return preview_shown(row)

    @act(
        "temperature_preview",
        "See what a logger's file would do",
        TemperaturePreviewOut,
        body=LoggerIn,
        example=PREVIEW,
        body_example={"file": FILE},
        problems=("not_found", "conflict", "invalid_input"),
    )
    def post(self, call: Call) -> TemperaturePreview:
        """Nothing is stored. Answer what is asked by a field of the form and send the file again."""
        with fields_named(FIELDS):
            return temperature_preview(**self.stated(call))


class LotTemperatureFelt(OfLot):
    """Without a logger."""

    @create(
        "temperature_felt",
        "Say how a packet felt",
        FeltIn,
        TemperatureOut,
        example=FELT,
        body_example={name: FELT[name] for name in ("felt", "began_at", "ended_at")},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> TemperatureUpload:
        """Cold, cool or warm in the hand; it counts as long as no logger knows better."""
        fields = {name: call.data.get(name) for name in ("began_at", "ended_at")}
        felt = call.data["felt"]
        upload = temperature_felt(
            actor=call.grower, lot=call.row, packet=self.packet(call), felt=felt, **fields
        )
        return self.again(call, upload)


class TemperaturePhoto(Resource):
    """The photo of a logger or a packet."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[TemperatureUpload]:
        """Uploads with a photo that the viewer may see."""
        return temperature_photos(call.grower)

    @document(
        "temperature_photo",
        "The photo sent with temperatures",
        media_type=MEDIA_TYPE,
        example="…",
        problems=("not_found",),
    )
    def get(self, call: Call) -> File:
        """For whoever may see the temperatures themselves."""
        return File("photo.jpg", bytes(call.row.photo))
