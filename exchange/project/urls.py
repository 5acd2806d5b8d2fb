"""Addresses of the server; the pages add theirs here."""

from django.urls import URLPattern, URLResolver, include, path

from exchange.api import health, page

urlpatterns: list[URLPattern | URLResolver] = [
    path("health/live", health.live, name="live"),
    path("health/ready", health.ready, name="ready"),
    path("api/v1/openapi.json", page.openapi_json, name="openapi"),
    path("api/v1/docs", page.docs, name="docs"),
    path("api/v1/", include("exchange.api.v1.urls")),
    path("account/", include("allauth.urls")),
]

handler400 = "exchange.api.failure.bad_request"
handler403 = "exchange.api.failure.forbidden"
handler404 = "exchange.api.failure.not_found"
handler500 = "exchange.api.failure.server_error"
