"""What a thief of the database, the log, the cache or the data folder reads: no way in, and no place."""

import json
import logging
import re
import zlib
from base64 import urlsafe_b64decode
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import pytest
from django.conf import settings
from django.core import signing
from django.core.cache import cache
from django.db import connection
from pytest_django.live_server_helper import LiveServer

from exchange.api.v1 import site as site_api
from exchange.project.log import log_settings
from growers.models import Grower, Site
from growers.services.reference import reference_load
from tests.api.dump_story import EMAIL, NOTE, PERSON, PLACE, SEALED, Story

pytestmark = pytest.mark.django_db(transaction=True)

PACKED = re.compile(r"[A-Za-z0-9_.=-]{16,}")


@pytest.fixture
def log_file(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> Iterator[Path]:
    """The log of a service, with all that any library would say."""
    options = dict(log_settings("DEBUG", "json")["formatters"]["event"])
    handler = logging.FileHandler(tmp_path / "log.json", encoding="utf-8")
    handler.setFormatter(options.pop("()")(**options))
    for name in (None, "django"):
        caplog.set_level(logging.DEBUG, logger=name)
    logging.getLogger().addHandler(handler)
    yield tmp_path / "log.json"
    logging.getLogger().removeHandler(handler)
    handler.close()


def twice(*, actor: Grower, keep_exact: bool, **fields: Any) -> Site:
    """What a lost race would do: a row that the database refuses, quoting it where it does so."""
    shown = {"cell_latitude_deg": 48.75, "cell_longitude_deg": 2.25, "cell_country": "FR", "cell_zone": "UTC"}
    return Site.objects.create(grower=actor, **fields, **shown)


def test_a_thief_finds_no_way_in_and_no_place(
    live_server: LiveServer, log_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.clear()
    reference_load()
    story = Story(live_server.url)
    story.live()
    quoting = ValueError(f"{EMAIL} with {story.token} and Authorization: Bearer {story.token}")
    for failing in (twice, Mock(side_effect=quoting)):
        monkeypatch.setattr(site_api, "site_create", failing)
        story.meet_a_failure()
    story.end()
    assert len(story.ways_in) == 20

    database = stored()
    assert where(story.ways_in, database) == {}
    told = {"note": NOTE, **PERSON, **PLACE}
    assert where({**told, **SEALED}, database) == {
        "note": ["exchange_agreementnote.text"],
        "e-mail": ["account_emailaddress.email", "growers_grower.email"],
        "street": ["growers_site.name"],
        "town": ["growers_site.nearest_town"],
        "latitude": ["growers_site.latitude_deg"],
        "longitude": ["growers_site.longitude_deg"],
    }
    assert where({**story.ways_in, **SEALED}, database_files()) == {}
    assert where({**story.ways_in, **told, **SEALED}, data_files() | cached()) == {}

    log = log_file.read_text(encoding="utf-8")
    lines = [json.loads(line) for line in log.splitlines()]
    assert where({**story.ways_in, **told, **SEALED}, {"log": log}) == {}
    assert {line["status"] for line in lines if line["event"] == "request"} >= {
        200,
        201,
        400,
        401,
        403,
        404,
        422,
        500,
    }
    failed = [line["exception"] for line in lines if "exception" in line]
    assert (
        len(failed) == 2
        and "IntegrityError" in failed[0]
        and "ValueError: [address] with [token]" in failed[1]
    )
    assert any("/account/password/reset/key/[key]" in line["event"] for line in lines)


def test_what_is_packed_is_found() -> None:
    packed = signing.dumps({"key": "a way in, a way in, a way in, a way in"}, compress=True)
    assert packed.startswith(".") and "a way in" not in packed
    assert where({"it": "a way in", "another": "away"}, {"column": text_of(packed)}) == {"it": ["column"]}
    assert where({"it": "a way in"}, {"column": text_of(memoryview(b"\xffa way in"))}) == {"it": ["column"]}


def stored() -> dict[str, str]:
    """All text of each column of each table, also what anybody can unpack without a key."""
    found: dict[str, str] = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            names = [column[0] for column in cursor.description]
            for name, *values in zip(names, *cursor.fetchall(), strict=True):
                found[f"{table}.{name}"] = " ".join(map(text_of, values))
    return found


def database_files() -> dict[str, str]:
    """The bytes of SQLite's files, where deleted rows and earlier versions may still be."""
    if connection.vendor != "sqlite":
        return {}
    name = Path(connection.settings_dict["NAME"])
    files = [name.with_name(f"{name.name}{end}") for end in ("", "-wal")]
    return {file.name: file.read_bytes().decode("latin-1") for file in files if file.exists()}


def data_files() -> dict[str, str]:
    """All other files that the server may have written."""
    files = [path for path in Path(settings.DATA_DIR).rglob("*") if path.is_file()]
    return {path.name: path.read_bytes().decode("latin-1") for path in files if ".sqlite3" not in path.name}


def cached() -> dict[str, str]:
    """Keys and values of the cache in this process."""
    rows: dict[str, bytes] = cache._cache  # type: ignore[attr-defined]
    return {f"cache {key}": f"{key} {value!r}" for key, value in rows.items()}


def text_of(value: Any) -> str:
    """A value as text, with what is packed in it."""
    text = bytes(value).decode("latin-1") if isinstance(value, bytes | memoryview) else str(value)
    return " ".join([text, *map(unpacked, PACKED.findall(text))])


def unpacked(word: str) -> str:
    """What Base64 and zlib hide, as Django's signed values use them; empty if it is neither."""
    content = b""
    with suppress(ValueError):
        content = urlsafe_b64decode(word.strip(".") + "=" * (-len(word.strip(".")) % 4))
    with suppress(zlib.error):
        content = zlib.decompress(content)
    return content.decode("latin-1")


def where(secrets: Mapping[str, str], texts: Mapping[str, str]) -> dict[str, list[str]]:
    """In which of the texts each secret is found; those found nowhere are left out."""
    found = {
        name: sorted(place for place, text in texts.items() if secret in text)
        for name, secret in secrets.items()
    }
    return {name: places for name, places in found.items() if places}
