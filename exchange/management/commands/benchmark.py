"""``manage.py benchmark api``: how fast the API answers, on private servers that are gone afterwards."""

from argparse import ArgumentParser, ArgumentTypeError
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from exchange.benchmarks.api import RATIO_BAR, Figures, measure
from exchange.benchmarks.servers import ServerFailed, ServerMissing

SECONDS = 20.0
SHORTEST_SECONDS, LONGEST_SECONDS = 0.1, 600.0


def duration(text: str) -> float:
    """Seconds as typed."""
    try:
        found = float(text)
    except ValueError:
        found = 0.0
    if not SHORTEST_SECONDS <= found <= LONGEST_SECONDS:
        raise ArgumentTypeError(f"it is {text!r}; allowed: {SHORTEST_SECONDS} to {LONGEST_SECONDS}.")
    return found


class Command(BaseCommand):
    """Touches no database but its own."""

    help = "Measure the API: a page of 50 pairings against one row, by the same server with one worker."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """What to measure, and for how long."""
        parser.add_argument("what", choices=["api"])
        text = f"of each of the six measurements (default {SECONDS:g})"
        parser.add_argument("--seconds", type=duration, default=SECONDS, help=text)

    def handle(self, *args: Any, **options: Any) -> None:
        """Measure and print."""
        try:
            figures = measure(options["seconds"], self.stdout.write)
        except (ServerMissing, ServerFailed) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(sentence(figures))


def sentence(figures: Figures) -> str:
    """The ratio of the medians, and the bar."""
    verdict = "met" if figures.ratio >= RATIO_BAR else "not met"
    return f"ratio {figures.ratio:.2f} (bar {RATIO_BAR}: {verdict})"
