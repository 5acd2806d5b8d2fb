"""``manage.py coordinator HANDLE``: makes a grower a coordinator; with ``--revoke`` no longer one."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from exchange.services.coordinator import coordinator_grant, coordinator_revoke
from growers.errors import NotFound


class Command(BaseCommand):
    """The role is given on the machine itself, so that no account can give it to itself."""

    help = "Make a grower a coordinator of the exchange, or no longer one."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whom, and which way."""
        parser.add_argument("handle")
        parser.add_argument("--revoke", action="store_true", help="take the role away")

    def handle(self, *args: Any, **options: Any) -> None:
        """Give or take the role."""
        change = coordinator_revoke if options["revoke"] else coordinator_grant
        try:
            grower = change(handle=options["handle"])
        except NotFound as error:
            raise CommandError(error.detail) from error
        self.stdout.write(f"{grower.handle} is {'no longer ' if options['revoke'] else ''}a coordinator.")
