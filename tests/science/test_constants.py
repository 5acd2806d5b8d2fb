"""Every constant once, with its source and how far it was verified."""

import ast
import inspect
from collections import Counter
from typing import get_args

import pytest

from exchange.science import constants
from exchange.science.constants import BetaPrior, Constant, GammaPrior, LogNormalPrior, Status

KINDS = Constant, LogNormalPrior, BetaPrior, GammaPrior
NAMED = {name: value for name, value in vars(constants).items() if isinstance(value, KINDS)}


def test_no_constant_is_defined_twice() -> None:
    """The second would win without a word, for every module that means the first."""
    tree = ast.parse(inspect.getsource(constants))
    names = Counter(
        target.id
        for statement in tree.body
        if isinstance(statement, ast.Assign)
        for target in statement.targets
        if isinstance(target, ast.Name)
    )
    assert [name for name, count in names.items() if count > 1] == []


def test_there_are_constants() -> None:
    assert len(NAMED) > 100


@pytest.mark.parametrize("name", sorted(NAMED))
def test_a_constant_says_where_it_is_from(name: str) -> None:
    constant = NAMED[name]
    assert constant.source.strip()
    assert constant.status in get_args(Status)
