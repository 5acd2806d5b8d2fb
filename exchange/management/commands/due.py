"""``manage.py due``: do once what is due, as the server's thread or Celery's beat does each minute."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from exchange.services.due import run_due
from growers import clock


class Command(BaseCommand):
    help = "Do what is due now, once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--limit", type=int, default=500, help="do at most so many pieces (default 500)")

    def handle(self, *args: Any, **options: Any) -> None:
        report = run_due(clock.now(), options["limit"])
        self.stdout.write(f"{report.done} done, {report.failed} failed and set for a later attempt.")
