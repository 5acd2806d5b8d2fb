"""How django-allauth's account pages meet our services: sign-up, encrypted second factor."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.models import EmailAddress
from allauth.mfa.adapter import DefaultMFAAdapter
from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from exchange.services.account import handle_refusals
from exchange.services.api_token import tokens_revoke_all
from exchange.services.cipher import decrypted, encrypted
from growers.errors import DomainError
from growers.models import Grower
from growers.services.grower import grower_create, grower_update


class HandleForm(forms.Form):
    """What sign-up asks besides e-mail and password."""

    handle = forms.CharField(label=_("Name shown to others"), max_length=40)

    def clean_handle(self) -> str:
        """The handle, if it is free and looks like nobody else's."""
        handle = str(self.cleaned_data["handle"])
        if refusals := handle_refusals(handle):
            raise forms.ValidationError(refusals)
        return handle

    def signup(self, request: HttpRequest, user: Grower) -> None:
        """Nothing: the account is made whole by the adapter."""


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    """Makes growers by the service that all others are made by."""

    def save_user(self, request: HttpRequest, user: Grower, form: Any, commit: bool = True) -> Grower:
        """The new grower; ``user`` is an empty row and not used."""
        given = form.cleaned_data
        return grower_create(
            handle=given["handle"], email=given["email"], password=given["password1"] or None
        )

    def confirm_email(self, request: HttpRequest, email_address: EmailAddress) -> bool:
        """Take an address as confirmed; where it is a new one, our service writes it, in one transaction.

        The library then writes the same once more.
        """
        grower = email_address.user
        with transaction.atomic():
            if grower.email != email_address.email and not self._email_change(grower, email_address.email):
                text = "account/messages/email_confirmation_failed.txt"
                self.add_message(request, messages.ERROR, text, {"email": email_address.email})
                return False
            confirmed = bool(super().confirm_email(request, email_address))
            transaction.set_rollback(not confirmed)
        return confirmed

    def _email_change(self, grower: Grower, email: str) -> bool:
        """Whether the service took it: another may have come to use the address meanwhile."""
        try:
            stored = grower_update(actor=grower, email=email)
        except DomainError:
            return False
        grower.email = stored.email
        return True

    def set_password(self, user: Grower, password: str) -> None:
        """A new password ends all tokens too: who resets it may have lost more than the password."""
        super().set_password(user, password)
        tokens_revoke_all(actor=user)


class SecondFactorAdapter(DefaultMFAAdapter):  # type: ignore[misc]
    """Keeps second-factor secrets encrypted by the address keys."""

    def encrypt(self, text: str) -> str:
        """A secret as it is stored."""
        return encrypted(text.encode()).decode("ascii")

    def decrypt(self, encrypted_text: str) -> str:
        """A stored secret."""
        return decrypted(encrypted_text.encode("ascii")).decode()
