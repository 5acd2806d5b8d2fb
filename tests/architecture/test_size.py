"""Small files, small functions."""

import statistics

from tests.architecture.tree import PACKAGES, ROOT, functions, percentile, python_files

FILE_LIMIT = 600
FILE_MEDIAN = 120
FUNCTION_MEDIAN = 10
FUNCTION_95TH = 45
SCIENCE_95TH = 60
PURE = ("science", "matching")


def test_no_file_is_longer_than_its_reader_bears() -> None:
    sizes = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in python_files(*PACKAGES, "tests", "docs")
    }
    assert {name: size for name, size in sizes.items() if size > FILE_LIMIT} == {}
    assert statistics.median(sizes.values()) <= FILE_MEDIAN


def test_functions_are_short() -> None:
    sizes = [each.lines for path in python_files(*PACKAGES) for each in functions(path)]
    assert statistics.median(sizes) <= FUNCTION_MEDIAN
    outside = [
        each
        for path in python_files(*PACKAGES)
        if path.relative_to(ROOT).parts[1] not in PURE
        for each in functions(path)
    ]
    assert percentile([each.lines for each in outside], 0.95) <= FUNCTION_95TH


def test_no_function_of_science_is_long() -> None:
    pure = [path for path in python_files("exchange") if path.relative_to(ROOT).parts[1] in PURE]
    assert [each for path in pure for each in functions(path) if each.lines > SCIENCE_95TH] == []
