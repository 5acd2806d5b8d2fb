"""What a test needs besides Python: skipped with the reason where it is missing, a failure in CI."""

import os
from typing import NoReturn

import pytest


def missing(what: str) -> NoReturn:
    """End the test: skipped on a developer's machine, failed where everything must be there."""
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(f"missing in CI: {what}")
    pytest.skip(f"missing: {what}")
