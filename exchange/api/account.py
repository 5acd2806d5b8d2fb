"""How django-allauth's account pages meet our services: sign-up, encrypted second factor."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from django import forms
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from exchange.services.account import handle_refusals
from exchange.services.api_token import tokens_revoke_all
from exchange.services.cipher import decrypted, encrypted
from growers.models import Grower
from growers.services.grower import grower_create


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
