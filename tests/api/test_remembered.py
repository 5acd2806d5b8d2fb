"""Parts of answers that are remembered: so many, the ones asked for last."""

from exchange.api.remembered import Remembered


def test_what_nobody_asks_for_is_forgotten() -> None:
    parts = Remembered(2)
    for number in range(5):
        parts.keep(number, b"%d" % number)
        assert parts.get(0) == b"0"
    assert parts.get(4) == b"4"
    assert parts.get(1) is None
    assert len(parts.young) + len(parts.old) <= 4
    parts.clear()
    assert parts.get(0) is None


def test_a_key_has_the_part_it_was_given_last() -> None:
    parts = Remembered(10)
    parts.keep("key", b"old")
    parts.keep("key", b"new")
    assert parts.get("key") == b"new"
