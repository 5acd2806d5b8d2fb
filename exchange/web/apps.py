"""Django app of the pages."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    """Pages; found by Django are their templates and style sheets."""

    name = "exchange.web"
