"""``manage.py benchmark api`` and ``lots``: how fast the API answers, how fast all lots are reckoned anew.

On private servers that are gone afterwards.
"""

from argparse import ArgumentParser, ArgumentTypeError
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from exchange.benchmarks.api import RATIO_BAR, Figures, measure
from exchange.benchmarks.lots import LOTS, SECONDS_BAR, LotFigures, measure_lots
from exchange.benchmarks.lots_server import DATABASES
from exchange.benchmarks.servers import ServerFailed, ServerMissing

SECONDS = 20.0
SHORTEST_SECONDS, LONGEST_SECONDS = 0.1, 600.0
MOST_LOTS = 1_000_000


def duration(text: str) -> float:
    """Seconds as typed."""
    try:
        found = float(text)
    except ValueError:
        found = 0.0
    if not SHORTEST_SECONDS <= found <= LONGEST_SECONDS:
        raise ArgumentTypeError(f"it is {text!r}; allowed: {SHORTEST_SECONDS} to {LONGEST_SECONDS}.")
    return found


def number_of_lots(text: str) -> int:
    """A number of lots as typed."""
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:8]) <= MOST_LOTS):
        raise ArgumentTypeError(f"it is {text!r}; allowed: 1 to {MOST_LOTS}.")
    return int(text)


class Command(BaseCommand):
    """Touches no database but its own."""

    help = (
        "api: a page of 50 pairings against one row, by the same server with one worker."
        " lots: all dates of lots with a hundred readings each reckoned anew by two processes."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """What to measure, and for how long."""
        parser.add_argument("what", choices=["api", "lots"])
        text = f"api: of each of the six measurements (default {SECONDS:g})"
        parser.add_argument("--seconds", type=duration, default=SECONDS, help=text)
        text = f"lots: how many (default {LOTS:,})"
        parser.add_argument("--lots", type=number_of_lots, default=LOTS, help=text)
        text = f"lots: on which database (default {DATABASES[0]})"
        parser.add_argument("--database", choices=DATABASES, default=DATABASES[0], help=text)

    def handle(self, *args: Any, **options: Any) -> None:
        """Measure and print."""
        try:
            self.stdout.write(self._measured(options))
        except (ServerMissing, ServerFailed) as error:
            raise CommandError(str(error)) from error

    def _measured(self, options: dict[str, Any]) -> str:
        if options["what"] == "api":
            return sentence(measure(options["seconds"], self.stdout.write))
        return lots_sentence(measure_lots(options["lots"], options["database"], self.stdout.write))


def sentence(figures: Figures) -> str:
    """The ratio of the medians, and the bar."""
    verdict = "met" if figures.ratio >= RATIO_BAR else "not met"
    return f"ratio {figures.ratio:.2f} (bar {RATIO_BAR}: {verdict})"


def lots_sentence(figures: LotFigures) -> str:
    """Seconds, lots a second, what of it was science; and the bar, which is for the usual number of lots."""
    verdict = "met" if figures.seconds < SECONDS_BAR else "not met"
    bar = f" (bar {SECONDS_BAR:g}: {verdict})" if figures.lots == LOTS else ""
    return (
        f"{figures.seconds:.1f} s{bar}, {figures.lots_a_second:.0f} lots a second,"
        f" science to database {figures.science_to_database:.1f}"
    )
