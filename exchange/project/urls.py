"""Addresses of the server."""

from django.urls import URLPattern, URLResolver, include, path

from exchange.api import health, page
from exchange.api.page_limit import within_limit
from exchange.web import calendar, lot, mail

urlpatterns: list[URLPattern | URLResolver] = [
    path("health/live", health.live, name="live"),
    path("health/ready", health.ready, name="ready"),
    path("api/v1/openapi.json", page.openapi_json, name="openapi"),
    path("api/v1/docs", page.docs, name="docs"),
    path("api/v1/", include("exchange.api.v1.urls")),
    path("l/<str:code>", within_limit(lot.lot_shown), name="lot_page"),
    path("calendar/<str:secret>.ics", within_limit(calendar.calendar_read), name="calendar"),
    path("mail/stop/<str:token>", within_limit(mail.stop), name="mail_stop"),
    path("mail/night/<str:token>", within_limit(mail.night), name="mail_night"),
    path("account/", include("allauth.urls")),
]

handler400 = "exchange.api.failure.bad_request"
handler403 = "exchange.api.failure.forbidden"
handler404 = "exchange.api.failure.not_found"
handler500 = "exchange.api.failure.server_error"
