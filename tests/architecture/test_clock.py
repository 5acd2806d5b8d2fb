"""One clock: nothing else in the project says what time it is."""

import json
import subprocess
import sys
from itertools import accumulate
from pathlib import Path

import hypothesis
import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import models
from django.db.migrations.loader import MigrationLoader

from growers import clock
from tests.architecture.tree import PACKAGES, ROOT

SAMPLES = [
    "from datetime import datetime, UTC\ndatetime.now(UTC)",
    "import datetime\ndatetime.datetime.utcnow()",
    "from datetime import date\ndate.today()",
    "from django.utils import timezone\ntimezone.now()",
    "from django.utils.timezone import now\nnow()",
    "from django.db.models.functions import Now\nNow()",
    "import time\ntime.time()",
    "import time\ntime.sleep(1)",
    "from django.db.models.signals import post_save",
    "from django.contrib import admin",
]
# A secret must not live longer because a season is tried out: these ask the true clock.
SECRETS = {
    "exchange.ApiToken.created",
    "exchange.ApiToken.created_at",
    "exchange.IdempotentAnswer.created_at",
}
DATABASE_CLOCKS = (
    "now(",
    "current_timestamp",
    "current_date",
    "current_time",
    "localtime",
    "clock_timestamp(",
)


@pytest.mark.parametrize("place", ["growers/services/x.py", "exchange/science/x.py", "tests/x.py"])
def test_another_clock_is_found(place: str) -> None:
    command = [str(Path(sys.executable).with_name("ruff")), "check", "--select", "TID251", "--no-cache"]
    options = ["--output-format", "json", "--stdin-filename", place, "-"]
    text = "\n".join(SAMPLES)
    result = subprocess.run(
        [*command, *options], cwd=ROOT, input=text, check=False, capture_output=True, text=True
    )
    found = {finding["location"]["row"] for finding in json.loads(result.stdout)}
    ends = list(accumulate(len(sample.splitlines()) for sample in SAMPLES))
    starts = [0, *ends[:-1]]
    spans = zip(SAMPLES, starts, ends, strict=True)
    assert [sample for sample, start, end in spans if found.isdisjoint(range(start + 1, end + 1))] == []


def own_models() -> list[type[models.Model]]:
    return [model for package in PACKAGES for model in apps.get_app_config(package).get_models()]


def test_rows_are_dated_by_the_one_clock() -> None:
    dated = [
        field
        for model in own_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.DateField | models.TimeField)
    ]
    assert len(dated) > 5
    assert [str(field) for field in dated if field.db_default is not models.NOT_PROVIDED] == []
    assert [str(field) for field in dated if field.auto_now or field.auto_now_add] == []
    by_default = {str(field): field.default for field in dated if field.has_default()}
    assert {name for name, default in by_default.items() if default is not clock.now} <= SECRETS
    assert {default for name, default in by_default.items() if name in SECRETS} <= {clock.true_now}


@pytest.mark.django_db(transaction=True)
def test_no_migration_asks_the_database_for_the_time(capsys: pytest.CaptureFixture[str]) -> None:
    names = [key for key in MigrationLoader(None).disk_migrations if key[0] in PACKAGES]
    assert {app for app, _ in names} == set(PACKAGES)
    for app, name in names:
        call_command("sqlmigrate", app, name)
        sql = capsys.readouterr().out.lower()
        assert [word for word in DATABASE_CLOCKS if word in sql] == [], f"{app} {name}"


def test_no_generated_example_is_judged_by_its_time() -> None:
    """What a test does not state of its examples it takes over from the profile of the run."""
    assert hypothesis.settings().deadline is None
