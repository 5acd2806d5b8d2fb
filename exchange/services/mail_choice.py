"""What a grower wants to be written about: by kind, and whether quiet hours may be broken."""

from collections.abc import Sequence
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import MailChoice, MailMessage
from exchange.services.mail_link import NIGHT, STOP, link_read
from growers import clock
from growers.errors import NotFound
from growers.models import Grower
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import as_list, words_check

NO_LINK = "There is no such link; it may be of a closed account, or broken by the mail program."


class MailChoiceFields(TypedDict, total=False):
    """What a grower may choose."""

    declined: Sequence[str]
    night_calls: bool | None


def mail_choice_update(*, actor: Grower, **fields: Unpack[MailChoiceFields]) -> MailChoice:
    """Change what one is written about; what is not stated stays."""
    problems = Problems()
    if "declined" in fields:
        words_check(problems, "declined", as_list(fields["declined"]), allowed=MailMessage.Kind.values)
    problems.refuse_if_any()
    with transaction.atomic():
        choice = _held(actor)
        if "declined" in fields:
            choice.declined = sorted(set(fields["declined"]))
        if "night_calls" in fields:
            _answer(choice, fields["night_calls"])
        choice.save()
    return choice


def mail_stop(*, token: str) -> str:
    """End messages of the kind that a link is about, signed in or not; the kind. Again changes nothing."""
    grower, kind = _linked(token, STOP)
    with transaction.atomic():
        choice = _held(grower)
        choice.declined = sorted({*choice.declined, kind})
        choice.save(update_fields=["declined"])
    return kind


def night_answer(*, token: str, night_calls: bool) -> None:
    """Answer whether what cannot wait may come in quiet hours."""
    grower, _kind = _linked(token, NIGHT)
    mail_choice_update(actor=grower, night_calls=night_calls)


def _linked(token: str, salt: str) -> tuple[Grower, str]:
    found = link_read(token, salt)
    if found is None:
        raise NotFound(NO_LINK)
    return found


def _held(actor: Grower) -> MailChoice:
    """The row of a grower whose account is open, made when needed; writers wait for each other."""
    grower = open_grower(actor)
    return MailChoice.objects.get_or_create(grower=grower)[0]


def _answer(choice: MailChoice, night_calls: bool | None) -> None:
    choice.night_calls = night_calls
    if night_calls is not None and choice.night_asked_at is None:
        choice.night_asked_at = clock.now()
