"""Pages that links in messages lead to; opening one changes nothing, an answer is sent by its form.

Mail programs send the form of a stopping link themselves (RFC 8058), without cookies: the signed link is what
shows whose wish it is.
"""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from exchange.services.mail_choice import mail_stop, night_answer
from exchange.services.mail_link import NIGHT, STOP, link_read
from exchange.wording.mail import KINDS
from growers.errors import NotFound

HEADERS = {"X-Robots-Tag": "noindex", "Cache-Control": "no-store", "Referrer-Policy": "no-referrer"}
METHODS = ["GET", "HEAD", "POST"]


@csrf_exempt
@require_http_methods(METHODS)
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether to stop messages of a kind, or stop them."""
    if request.method != "POST":
        return _page(request, {"stop": KINDS[_kind(token, STOP)]})
    try:
        return _page(request, {"stopped": KINDS[mail_stop(token=token)]})
    except NotFound as error:
        raise Http404 from error


@csrf_exempt
@require_http_methods(METHODS)
def night(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether what cannot wait may come in quiet hours, or take the answer."""
    answer = {"yes": True, "no": False}.get(request.POST.get("answer", ""))
    if request.method != "POST" or answer is None:
        _kind(token, NIGHT)
        return _page(request, {"night": True}, status=400 if request.method == "POST" else 200)
    try:
        night_answer(token=token, night_calls=answer)
    except NotFound as error:
        raise Http404 from error
    return _page(request, {"answered": True, "night_calls": answer})


def _kind(token: str, salt: str) -> str:
    found = link_read(token, salt)
    if found is None:
        raise Http404
    return found[1]


def _page(request: HttpRequest, context: dict[str, Any], status: int = 200) -> HttpResponse:
    answer = render(request, "web/mail.html", context, status=status)
    for name, value in HEADERS.items():
        answer[name] = value
    return answer
