"""What a grower is written about, for that grower alone."""

from dataclasses import dataclass
from datetime import datetime

from exchange.models import MailChoice
from growers.models import Grower


@dataclass(frozen=True, slots=True)
class MailChoiceForOwner:
    """One's own choices. While an address that the mail server refused rests, nothing is sent."""

    declined: tuple[str, ...]
    night_calls: bool | None
    night_asked_at: datetime | None
    rests_until: datetime | None


def mail_choice_of(grower: Grower) -> MailChoice:
    """The choices of a grower; those of somebody who has made none are not stored."""
    return MailChoice.objects.filter(grower=grower).first() or MailChoice(grower=grower)


def mail_choice_for_owner(grower: Grower, choice: MailChoice, now: datetime) -> MailChoiceForOwner:
    """What the grower reads of it."""
    rests = choice.rests_until if choice.refused_email == grower.email else None
    return MailChoiceForOwner(
        declined=tuple(choice.declined),
        night_calls=choice.night_calls,
        night_asked_at=choice.night_asked_at,
        rests_until=rests if rests is not None and rests > now else None,
    )
