"""Accounts: sign up through the pages, sign in for a token, confirm an address."""

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from django.contrib.auth.hashers import make_password
from django.db import transaction

from exchange.models import CalendarEntry, CalendarFeed, IdempotentAnswer, MailChoice, MailMessage
from exchange.services.api_token import tokens_revoke_all
from exchange.services.leaving import deals_leave
from exchange.services.note_key import note_key_forget
from exchange.services.webhook import webhooks_delete_all
from growers.errors import InvalidInput
from growers.models import Grower
from growers.services.grower import grower_close, grower_create, grower_hold

KEPT_FOR_ONE = (IdempotentAnswer, CalendarFeed, CalendarEntry, MailMessage, MailChoice)
"""What is kept for a grower alone and is nothing to anybody once they have left."""


def handle_refusals(handle: str) -> list[str]:
    """Sentences that say why a handle cannot be taken; none if it can. Nothing is written."""
    try:
        with transaction.atomic():
            grower_create(handle=handle)
            transaction.set_rollback(True)
    except InvalidInput as error:
        return [problem.detail for problem in error.problems]
    return []


def email_confirm(*, grower: Grower) -> None:
    """Take a grower's address as confirmed, by an operator or a demo that has no mail."""
    EmailAddress.objects.update_or_create(
        user=grower, email=grower.email, defaults={"verified": True, "primary": True}
    )


def account_close(*, actor: Grower) -> None:
    """Close an account: deals end; the person, ways to sign in, tokens, feeds, kept answers and notes go.

    See ``deals_leave`` and ``grower_close``.
    """
    with transaction.atomic():
        grower_hold(actor)
        deals_leave(actor=actor)
        grower_close(actor=actor)
        tokens_revoke_all(actor=actor)
        webhooks_delete_all(actor=actor)
        for rows in (EmailAddress.objects, Authenticator.objects):
            rows.filter(user=actor).delete()
        for kept in KEPT_FOR_ONE:
            kept._default_manager.filter(grower=actor).delete()
        note_key_forget(writer=actor)


def grower_signing_in(*, email: str, password: str, code: str) -> Grower | None:
    """The grower with this address, password and, where one is set, second factor; else None.

    Every refusal is the same and costs one password hash, so that nobody learns which addresses exist.
    """
    grower = Grower.objects.filter(email__iexact=email, closed_at__isnull=True).first()
    if grower is None:
        make_password(password)
        return None
    known = grower.check_password(password) and _is_confirmed(grower)
    return grower if known and _second_factor_fits(grower, code) else None


def is_grower_themselves(*, grower: Grower, password: str, code: str) -> bool:
    """Whether whoever acts for a grower knows the password and, where one is set, the second factor.

    Slow on purpose: not to be asked inside a transaction.
    """
    return grower.check_password(password) and _second_factor_fits(grower, code)


def _is_confirmed(grower: Grower) -> bool:
    confirmed = EmailAddress.objects.filter(user=grower, email__iexact=grower.email, verified=True)
    return bool(confirmed.exists())


def _second_factor_fits(grower: Grower, code: str) -> bool:
    """Whether the code fits; any will do where no second factor is set."""
    factors = {factor.type: factor for factor in Authenticator.objects.filter(user=grower)}
    totp = factors.get(Authenticator.Type.TOTP)
    if totp is None:
        return True
    if code and bool(TOTP(totp).validate_code(code)):
        return True
    recovery = factors.get(Authenticator.Type.RECOVERY_CODES)
    return bool(code) and recovery is not None and bool(RecoveryCodes(recovery).validate_code(code))
