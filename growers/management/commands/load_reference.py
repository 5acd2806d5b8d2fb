"""Load the reference tables of taxa."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from growers.errors import DomainError
from growers.services.reference import FOLDER, reference_load
from growers.services.reference_table import file_name


class Command(BaseCommand):
    help = "Loads the reference tables of taxa; run again, it writes only what changed."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--folder", type=Path, default=FOLDER, help="another folder with the five files")
        parser.add_argument("--force", action="store_true", help="load files that are as they were, too")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            report = reference_load(folder=options["folder"], force=options["force"])
        except DomainError as error:
            raise CommandError(error.detail) from error
        for table, count in report.row_counts.items():
            state = "new or changed" if table in report.changed_tables else "as last loaded"
            self.stdout.write(f"{file_name(table)}: {count} rows, {state}")
        self.stdout.write(
            f"taxa: {report.created} created, {report.updated} updated, {report.unchanged} unchanged"
            if report.changed_tables or options["force"]
            else "taxa: nothing to do"
        )
