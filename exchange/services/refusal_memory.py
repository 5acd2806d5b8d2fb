"""Refusals that took reckoning, remembered from run to run.

Kept in a cache by the digest of everything they were reckoned from, as plain values that any version of the
code can read. Whatever is lost is reckoned again.
"""

from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import Any

from django.core.cache import caches

from exchange.matching.reason import Reason
from exchange.matching.smallest_change import SmallestChange

LASTS = timedelta(days=2)
"""A digest holds its day, so that nothing older is asked for (definition)."""


@dataclass(frozen=True)
class RefusedBefore:
    """Why a pair was refused, and what would help."""

    reasons: tuple[Reason, ...]
    change: SmallestChange | None


class RefusalMemory:
    """What is remembered of the pairs of one wanted cross; a run leaves what it found or used."""

    def __init__(self, wanted_key: str) -> None:
        self._key = f"refused:{wanted_key}"
        self._before: dict[str, Any] = caches["reckoned"].get(self._key) or {}
        self._now: dict[str, Any] = {}

    def find(self, digest: str) -> RefusedBefore | None:
        """What was found from this input before."""
        if digest not in self._before:
            return None
        plain = self._now[digest] = self._before[digest]
        change = SmallestChange(**plain["change"]) if plain["change"] else None
        reasons = tuple(Reason(reason["code"], reason["parameters"]) for reason in plain["reasons"])
        return RefusedBefore(reasons, change)

    def keep(self, digest: str, refused: RefusedBefore) -> None:
        """Remember a refusal."""
        self._now[digest] = asdict(refused)

    def store(self) -> None:
        """Leave it for the next run."""
        if self._now != self._before:
            caches["reckoned"].set(self._key, self._now, LASTS.total_seconds())
