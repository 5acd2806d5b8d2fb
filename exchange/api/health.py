"""For whoever watches the machine: does the process answer, and does the database."""

from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_safe

from exchange.api.errors import DATABASE_AWAY, ApiProblem, respond


@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """The process answers."""
    return JsonResponse({"status": "live"})


@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """The database answers too; else 503 and when to ask again."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DATABASE_AWAY:
        return respond(request, ApiProblem("unavailable", headers={"Retry-After": "5"}))
    return JsonResponse({"status": "ready"})
