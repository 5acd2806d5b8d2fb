"""Growers as they see themselves and as others see them."""

from dataclasses import dataclass
from datetime import time
from uuid import UUID

from growers.models import Grower


@dataclass(frozen=True, slots=True)
class GrowerForOthers:
    """What any other member reads: the name a grower chose to be known by."""

    public_id: UUID
    handle: str


@dataclass(frozen=True, slots=True)
class GrowerForOwner:
    """A grower's own settings."""

    public_id: UUID
    handle: str
    email: str | None
    name: str
    language: str
    units: str
    zone: str
    quiet_from: time | None
    quiet_until: time | None
    countries_shipped_to: tuple[str, ...]
    default_terms: tuple[str, ...]
    may_be_asked: bool
    credit_line: str


def grower_seen(*, viewer: Grower | None, grower: Grower) -> GrowerForOwner | GrowerForOthers:
    """A loaded grower as the viewer may see them; no query."""
    return for_owner(grower) if viewer is not None and viewer.pk == grower.pk else for_others(grower)


def for_others(grower: Grower) -> GrowerForOthers:
    """A loaded grower for the eyes of others."""
    return GrowerForOthers(grower.public_id, grower.handle)


def for_owner(grower: Grower) -> GrowerForOwner:
    """A loaded grower for their own eyes."""
    return GrowerForOwner(
        public_id=grower.public_id,
        handle=grower.handle,
        email=grower.email,
        name=grower.name,
        language=grower.language,
        units=grower.units,
        zone=grower.zone,
        quiet_from=grower.quiet_from,
        quiet_until=grower.quiet_until,
        countries_shipped_to=tuple(grower.countries_shipped_to),
        default_terms=tuple(grower.default_terms),
        may_be_asked=grower.may_be_asked,
        credit_line=grower.credit_line,
    )
