"""The benchmark of the API: it runs on servers of its own and prints what it found."""

import io
import re
from argparse import ArgumentTypeError
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.urls import Resolver404, resolve

from exchange.benchmarks.api import Figures
from exchange.benchmarks.api_urls import ONE_ROW
from exchange.benchmarks.servers import ServerMissing
from exchange.management.commands.benchmark import duration, sentence
from tests.requirement import missing

ROUND = re.compile(r"(one row|50 pairings): (\d+\.\d) answers a second")


def test_both_are_asked_for_in_turns_and_the_ratio_is_printed() -> None:
    printed = io.StringIO()
    try:
        call_command("benchmark", "api", "--seconds", "0.5", stdout=printed)
    except CommandError as error:
        if isinstance(error.__cause__, ServerMissing):
            missing(str(error))
        raise
    *rounds, last = printed.getvalue().splitlines()
    found = [ROUND.fullmatch(line) for line in rounds]
    assert [each[1] for each in found if each] == ["one row", "50 pairings"] * 3
    assert all(float(each[2]) > 0.0 for each in found if each)
    ratio = re.fullmatch(r"ratio (\d+\.\d\d) \(bar 0\.5: (not )?met\)", last)
    assert ratio is not None and float(ratio[1]) > 0.0


def test_the_ratio_is_that_of_the_medians() -> None:
    figures = Figures(one_row=(100.0, 10.0, 400.0), pairings=(49.0, 50.0, 900.0))
    assert figures.ratio == 0.5
    assert sentence(figures) == "ratio 0.50 (bar 0.5: met)"
    assert sentence(Figures((100.0,), (49.0,))) == "ratio 0.49 (bar 0.5: not met)"


@pytest.mark.parametrize("typed", ["0", "-1", "601", "nan", "soon"])
def test_other_durations_are_refused(typed: str) -> None:
    with pytest.raises(ArgumentTypeError, match=r"it is '.*'; allowed: 0\.1 to 600\.0\."):
        duration(typed)


def test_a_project_without_a_benchmark_has_no_such_address() -> None:
    with pytest.raises(Resolver404):
        resolve(f"/{ONE_ROW}/{uuid4()}")
