"""Files to print or to keep: bytes of one media type."""

from dataclasses import dataclass

from django.http import HttpResponse

from exchange.api.etag import etag_of


@dataclass(frozen=True, slots=True)
class File:
    """What is sent, and the name it is kept under; of letters, digits, hyphens and one dot."""

    name: str
    body: bytes


def file_response(file: File, media_type: str) -> HttpResponse:
    """A file with its tag."""
    disposition = f'attachment; filename="{file.name}"'
    headers = {"ETag": etag_of(file.body), "Content-Disposition": disposition}
    return HttpResponse(file.body, content_type=media_type, headers=headers)
