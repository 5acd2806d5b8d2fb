"""``manage.py demo``: loads the invented society, reckons, and prints who may send what to whom."""

import io
import json
from argparse import ArgumentParser, ArgumentTypeError
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from exchange.project.settings import BASE_DIR
from exchange.services.demo import demo_load
from exchange.services.matching import RunResult, matching_run
from exchange.wording.demo import Refusal, demo_json, demo_table
from growers.errors import DomainError

DEMO_DAY = date(2026, 6, 15)
FOLDER = BASE_DIR / "fixtures" / "demo"
EARLIEST, LATEST = date(2000, 1, 1), date(2099, 12, 31)


def day(text: str) -> date:
    """A civil date as typed; years far off have no public holidays on record."""
    try:
        found = date.fromisoformat(text)
    except ValueError:
        found = date.max
    if not EARLIEST <= found <= LATEST:
        raise ArgumentTypeError(f"it is {text!r}; allowed: {EARLIEST} to {LATEST}, written as {DEMO_DAY}.")
    return found


class Command(BaseCommand):
    """Everything it loads says that it is invented; a second run changes nothing."""

    help = "Load the invented demo society, forecast, match, and print the pairings."
    # They import the whole API, which the demo has no use for; `manage.py check` makes them.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Day to reckon as of, and a file for the same result as JSON."""
        parser.add_argument("--today", type=day, default=DEMO_DAY, metavar="DATE")
        parser.add_argument("--json", type=Path, default=None, metavar="FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the demo."""
        today: date = options["today"]
        if options["json"] and not options["json"].parent.is_dir():
            raise CommandError(f"--json is {options['json']}; allowed: a file in a folder that exists.")
        call_command("migrate", verbosity=0)
        call_command("load_reference", stdout=io.StringIO())
        try:
            loaded = demo_load(FOLDER)
        except DomainError as error:
            raise CommandError(error.detail) from error
        self.stdout.write("Demo society: invented growers, sites and cultivars; real species.")
        self.stdout.write("Loaded." if loaded else "Already loaded; nothing changed.")
        result = matching_run(today=today, progress=self._progress)
        self.stdout.write(demo_table(result.run, result.pairings, refused(result), today))
        if options["json"]:
            text = json.dumps(demo_json(result.run, result.pairings, refused(result), today), indent=2)
            options["json"].write_text(text + "\n", encoding="utf-8")
            self.stdout.write(f"The same as JSON: {options['json']}")

    def _progress(self, done: int, of: int) -> None:
        self.stderr.write(f"  {done} of {of} wanted crosses reckoned", ending="\n" if done == of else "\r")
        self.stderr.flush()


def refused(result: RunResult) -> list[Refusal]:
    """What was refused, as the wording takes it."""
    return [(pair.offer, pair.wanted_cross, pair.reasons, pair.change, pair.basis) for pair in result.refused]
