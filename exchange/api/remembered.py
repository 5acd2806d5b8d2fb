"""Rendered parts of answers, remembered by what they rest on: whatever changes makes another key."""

from collections.abc import Hashable


class Remembered:
    """So many parts or up to twice as many, those asked for last; each process has its own."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.clear()

    def clear(self) -> None:
        """Forget all."""
        self.young: dict[Hashable, bytes] = {}
        self.old: dict[Hashable, bytes] = {}

    def get(self, key: Hashable) -> bytes | None:
        """The part, if it is remembered."""
        found = self.young.get(key)
        if found is None and (found := self.old.get(key)) is not None:
            self.keep(key, found)
        return found

    def keep(self, key: Hashable, part: bytes) -> None:
        """Remember a part; what was not asked for since so many others came is forgotten."""
        if len(self.young) >= self.size:
            self.old, self.young = self.young, {}
        self.young[key] = part
