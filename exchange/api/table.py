"""CSV tables: in as a file of a form, read whole and never stored; out as text."""

from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.parsers import DataAndFiles, MultiPartParser

from exchange.api.errors import ApiProblem, Fault
from exchange.api.etag import etag_of
from exchange.api.strict import StrictSerializer

ACTIONS = [(word, word) for word in ("created", "updated", "unchanged")]
"""What an import does with a row."""

MEDIA_TYPE = "text/csv; charset=utf-8; header=present"


class TableFormParser(MultiPartParser):
    """A form with a file; like any body no larger than a megabyte unless told so, and nothing in it twice."""

    most_bytes = settings.DATA_UPLOAD_MAX_MEMORY_SIZE

    def parse(
        self, stream: Any, media_type: str | None = None, parser_context: Any = None
    ) -> "DataAndFiles[Any, Any]":
        """Fields and files."""
        # Django limits the fields of a form and not its files.
        length = parser_context["request"].META.get("CONTENT_LENGTH") or 0
        if int(length) > self.most_bytes:
            detail = _("The body is larger than {bytes} bytes.").format(bytes=self.most_bytes)
            raise ApiProblem("too_large", detail)
        parsed = super().parse(stream, media_type, parser_context)
        _once_check(parsed.data, parsed.files)
        return parsed


def _once_check(*parts: MultiValueDict[str, Any]) -> None:
    names = [name for part in parts for name, values in part.lists() for _value in values]
    faults = [
        Fault("repeated", _("State it once."), pointer=f"/{name}")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    if faults:
        raise ApiProblem("does_not_fit", faults=faults)


class FormFlag(serializers.BooleanField):
    """``true`` or ``false``, written in a form; capitals do not matter."""

    default_empty_html = serializers.empty  # what is left out has its default, as in any other body

    def to_internal_value(self, data: Any) -> bool:
        """The truth."""
        word = data.casefold() if isinstance(data, str) else data
        if word not in ("true", "false"):
            self.fail("invalid", input=data)
        return word == "true"


class TableIn(StrictSerializer):
    """A table and what is to be done with it."""

    media_type = TableFormParser.media_type

    file = serializers.FileField(
        allow_empty_file=True,
        help_text="CSV in UTF-8, at most 1,000,000 bytes: a header row, then commas, semicolons or tabs "
        "between cells.",
    )
    dry_run = FormFlag(default=False, help_text="Check it and show what would be written; write nothing.")


def table_response(name: str, text: str) -> HttpResponse:
    """A table as a file to keep."""
    body = text.encode()
    headers = {"ETag": etag_of(body), "Content-Disposition": f'attachment; filename="{name}.csv"'}
    return HttpResponse(body, content_type=MEDIA_TYPE, headers=headers)
