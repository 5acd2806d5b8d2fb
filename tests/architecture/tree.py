"""The files of the project, as the tests of its shape see them."""

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGES = ("exchange", "growers")


@dataclass(frozen=True)
class Function:
    """One function: where it stands and how many lines of code it has, its docstring not counted."""

    file: Path
    name: str
    lines: int


@cache
def project_files() -> tuple[Path, ...]:
    """Every file that is or will be in the repository: what Git does not ignore."""
    # A clone may belong to another account than the one that tests it.
    trusted = ["git", "-c", f"safe.directory={ROOT}"]
    command = [*trusted, "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    listed = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    paths = (ROOT / name for name in listed.split("\0") if name)
    return tuple(sorted(path for path in paths if path.is_file()))


@cache
def python_files(*folders: str) -> tuple[Path, ...]:
    """Python files under the folders, generated migrations left out."""
    return tuple(
        path
        for path in project_files()
        if path.suffix == ".py"
        and path.relative_to(ROOT).parts[0] in folders
        and "migrations" not in path.parts
    )


@cache
def syntax(path: Path) -> ast.Module:
    """The parsed file."""
    return ast.parse(path.read_text(encoding="utf-8"))


def functions(path: Path) -> Iterator[Function]:
    """All functions and methods of a file."""
    for node in ast.walk(syntax(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield Function(path.relative_to(ROOT), node.name, code_lines(node))


def code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from ``def`` to the end, without the docstring."""
    assert node.end_lineno is not None
    total = node.end_lineno - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node) is None or first.end_lineno is None:
        return total
    return total - (first.end_lineno - first.lineno + 1)


def percentile(values: list[int], share: float) -> int:
    """The smallest value that at least this share of the values does not exceed."""
    ordered = sorted(values)
    return ordered[max(0, -(-int(len(ordered) * share * 1000) // 1000) - 1)]
