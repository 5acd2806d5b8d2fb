"""Django app of the facts: who grows what, where, and what flowered when."""

from django.apps import AppConfig


class GrowersConfig(AppConfig):
    """Facts; imports nothing of the exchange."""

    name = "growers"
    default_auto_field = "django.db.models.BigAutoField"
