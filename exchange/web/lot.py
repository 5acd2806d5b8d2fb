"""The page that the symbol on a packet leads to."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.views.decorators.http import require_safe

from exchange.models.lot_code import code_read, code_shown
from exchange.selectors.label import lot_page
from exchange.wording.lot_code import code_mistake

HEADERS = {"X-Robots-Tag": "noindex", "Cache-Control": "private, no-cache"}


@require_safe
def lot_shown(request: HttpRequest, code: str) -> HttpResponse:
    """What the label of a lot says, for whoever has its code, signed in or not.

    A code that cannot be one is told what may be wrong with it; one that nobody has is not found, like any
    other address.
    """
    known = code_read(code)
    if known is None:
        return _page({"mistake": code_mistake(code)}, status=404)
    lot = lot_page(known)
    if lot is None:
        raise Http404
    return _page({"lot": lot, "code": code_shown(known)})


def _page(context: dict[str, Any], status: int = 200) -> HttpResponse:
    # Without the request: nothing on the page depends on who reads it.
    return HttpResponse(render_to_string("web/lot.html", context), status=status, headers=HEADERS)
