"""Addresses of the server; the API and the pages add theirs here."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
