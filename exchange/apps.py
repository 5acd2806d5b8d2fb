"""Django app of the deals: conclusions drawn from facts, and what growers agree on."""

from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    """Deals; the only part that speaks to the outside."""

    name = "exchange"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Load the tasks: Celery does so only in workers, but other processes name them too."""
        from exchange import tasks  # noqa: F401
