"""What must not be in any file of the repository."""

import re

from tests.architecture.tree import ROOT, project_files

# Written in pieces, or this file would find itself.
FORBIDDEN = {
    "a path of somebody's machine": r"(?<![\w.])/(?:"
    + "|".join(("work", "root", "home/[a-z]", "Users"))
    + r")(?:/|\b)",
    "the address of a registry": "|".join(
        ("files[.]python" + "hosted", "pyp" + r"i\.", "(?<!emit-)index" + "-url")
    ),
    "a note that is not in the repository": "|".join(
        (r"\bshared" + "/", r"\bmodel[.]" + "md", r"\bdesign[.]" + "md")
    ),
}


def test_nothing_points_outside_the_repository() -> None:
    found = []
    for path in project_files():
        content = path.read_bytes()
        if b"\0" in content:
            continue
        text = content.decode("utf-8")
        found += [
            f"{path.relative_to(ROOT)}: {what}: {match.group()}"
            for what, pattern in FORBIDDEN.items()
            for match in re.finditer(pattern, text)
        ]
    assert found == []


def test_the_patterns_find_what_they_are_for() -> None:
    samples = (
        "/wo" + "rk/main",
        "cd /ro" + "ot",
        "--index" + "-url x",
        "see sha" + "red/notes",
        "mod" + "el.md 3",
    )
    for sample in samples:
        assert any(re.search(pattern, sample) for pattern in FORBIDDEN.values()), sample
    for harmless in ("frame/work", "a/root", "network", "rooted", "share", "models.md"):
        assert not any(re.search(pattern, harmless) for pattern in FORBIDDEN.values()), harmless
