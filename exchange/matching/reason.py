"""Why a pairing is proposed, refused or weak: stable codes with parameters, worded elsewhere."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Reason:
    """One reason: a stable code and the parameters its sentence needs."""

    code: str
    parameters: Mapping[str, str | int | float] = field(default_factory=dict)
