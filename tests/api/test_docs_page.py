"""The page of the document in a real browser, under the policy that every page is sent with."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from pytest_django.live_server_helper import LiveServer

from exchange.api.page import document
from tests.requirement import missing

METHODS = ("get", "post", "put", "patch", "delete")
# A tall window: of a document as long as ours the page holds only what is near the window.
# All but the server of the test is nowhere: what asks for another host fails and is told in the console.
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost",
    "--enable-logging=stderr",
    "--window-size=1200,40000",
    "--virtual-time-budget=30000",
)


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_document_is_shown_under_our_policy(live_server: LiveServer, tmp_path: Path) -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        missing("chromium, Debian's package")
    done = subprocess.run(
        [chromium, *FLAGS, f"--user-data-dir={tmp_path}", "--dump-dom", f"{live_server.url}/api/v1/docs"],
        env={"PATH": os.environ["PATH"], "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert re.findall(r"CONSOLE.*", done.stderr) == []
    paths = document()["paths"]
    assert isinstance(paths, dict)
    names = {item[method]["operationId"] for item in paths.values() for method in METHODS if method in item}
    shown = set(re.findall(r'id="operations-[^"]*?-(\w+)"', done.stdout))
    assert names and shown >= names
