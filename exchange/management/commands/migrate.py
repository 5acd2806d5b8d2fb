"""``manage.py migrate``: Django's own, which gives up rather than block a busy PostgreSQL table."""

from typing import Any

from django.conf import settings
from django.core.management.commands import migrate
from django.db import connections


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        connection = connections[options["database"]]
        if connection.vendor != "postgresql":
            super().handle(*args, **options)
            return
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT set_config('lock_timeout', %s, false)", [f"{settings.MIGRATION_LOCK_WAIT_SECONDS}s"]
            )
        try:
            super().handle(*args, **options)
        finally:
            if connection.is_usable():
                with connection.cursor() as cursor:
                    cursor.execute("RESET lock_timeout")
