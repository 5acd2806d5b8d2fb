"""``manage.py run``: the embedded server, with everything it needs."""

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from exchange.project.embedded import EmbeddedServer


class Command(BaseCommand):
    help = "Serve the API and the pages and do what is due, in one process on SQLite."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--address", default="127.0.0.1:8000", help="HOST:PORT (default %(default)s)")
        parser.add_argument("--threads", type=int, default=4, help="requests at a time (default 4)")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.SERVICE_MODE:
            raise CommandError("A service has gunicorn, Celery workers and beat; see docs/operations.md.")
        call_command("migrate", verbosity=0)
        call_command("load_reference", verbosity=0)
        EmbeddedServer(options["address"], options["threads"]).run()
