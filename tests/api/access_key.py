"""The keys that each viewer reads of each operation: a file an operation, written on purpose and reviewed.

A key is a path such as ``results[].offer.region.country``; ``[]`` is any element of a list. What holds
other keys is not named itself, so ``results`` alone is an empty list. ``: null`` says that there is nothing
for this viewer; a ``?`` at the end is set by hand and says that a key need not always be there.
"""

import csv
import io
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from tests.api.access_member import VIEWERS

FOLDER = Path(__file__).parent / "access_keys"
NULL = ": null"
OPTIONAL = " ?"
INNER = re.compile(r"\.|\[\]")

Keys = dict[str, set[str]]
"""What each viewer who gets an answer reads."""


def keys_of(contents: Iterable[Any]) -> set[str]:
    """The keys of several answers to one viewer."""
    holds: dict[str, bool] = {}
    for content in contents:
        _walk("", content, holds)
    outer = {key[: sign.start()] for key in holds for sign in INNER.finditer(key)}
    return {key if holds[key] else key + NULL for key in holds.keys() - outer}


def _walk(path: str, value: Any, holds: dict[str, bool]) -> None:
    if path:
        holds[path] = holds.get(path, False) or value is not None
    if isinstance(value, dict):
        for name, part in value.items():
            _walk(f"{path}.{name}" if path else name, part, holds)
    elif isinstance(value, list):
        for part in value:
            _walk(f"{path}[]", part, holds)


def table_content(text: str) -> dict[str, Any]:
    """A CSV table as if it were JSON."""
    return {"rows": list(csv.DictReader(io.StringIO(text)))}


def listed(operation: str) -> Keys:
    """What is on record for an operation; nothing if there is no file."""
    file, keys, viewers = FOLDER / f"{operation}.txt", Keys(), list[str]()
    for line in file.read_text(encoding="utf-8").splitlines() if file.exists() else ():
        if line.startswith("  "):
            for viewer in viewers:
                keys[viewer].add(line.strip())
        elif line:
            viewers = line.split(", ")
            keys |= {viewer: set() for viewer in viewers}
    return keys


def write(operation: str, seen: Keys) -> None:
    """Put on record what was seen, viewers who read the same together; optional keys stay so."""
    before, blocks = listed(operation), dict[tuple[str, ...], list[str]]()
    for viewer in VIEWERS:
        if viewer in seen:
            optional = {key for key in before.get(viewer, ()) if key.endswith(OPTIONAL)}
            known = {key.removesuffix(OPTIONAL) for key in optional}
            blocks.setdefault(tuple(sorted(optional | (seen[viewer] - known))), []).append(viewer)
    text = "\n".join(
        "".join([f"{', '.join(viewers)}\n", *(f"  {key}\n" for key in keys)])
        for keys, viewers in blocks.items()
    )
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / f"{operation}.txt").write_text(text, encoding="utf-8")


def differences(operation: str, seen: Mapping[str, set[str]]) -> list[str]:
    """Where what was seen is not what is on record, one sentence each."""
    found, record = [], listed(operation)
    for viewer in sorted({*seen, *record}):
        known = record.get(viewer, set())
        optional = {key.removesuffix(OPTIONAL) for key in known if key.endswith(OPTIONAL)}
        needed = {key for key in known if not key.endswith(OPTIONAL)}
        here = seen.get(viewer, set())
        where = f"{operation}, {viewer}:"
        found += [f"{where} reads {key}, which is not listed" for key in sorted(here - needed - optional)]
        found += [f"{where} does not read {key}, which is listed" for key in sorted(needed - here)]
        found += [f"{where} has no answer, but keys are listed"] * (viewer not in seen)
    return found
