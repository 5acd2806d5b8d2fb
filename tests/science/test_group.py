"""Group words are read as the literature means them."""

import pytest

from exchange.science.group import GROUPS, group_key


@pytest.mark.parametrize("group", GROUPS)
def test_every_key_names_itself_in_any_case(group: str) -> None:
    assert group_key(f" {group.title()} ") == group


def test_nymphaea_is_the_subgenus_and_confluentes_belongs_to_anecphya() -> None:
    assert group_key("Nymphaea") == "hardy"
    assert group_key("Confluentes") == "anecphya"


def test_an_unknown_group_is_refused_with_the_allowed_words() -> None:
    with pytest.raises(ValueError, match="group is 'Euryale'; allowed: hardy, brachyceras"):
        group_key("Euryale")
