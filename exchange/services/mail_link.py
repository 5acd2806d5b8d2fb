"""Links that stand in messages: they say whom and what they are about, signed, and name no address.

Whoever has such a link can stop messages of one kind or answer one question, and nothing else; opening one
changes nothing, since programs that look through mail open links too.
"""

from uuid import UUID

from django.conf import settings
from django.core import signing
from django.urls import reverse

from exchange.wording.mail import Links
from growers.models import Grower

STOP, NIGHT = "exchange.mail.stop", "exchange.mail.night"


def links_for(grower: Grower, kind: str, *, asks_night: bool = False) -> Links:
    """The links of a message of one kind."""
    home = settings.PUBLIC_ADDRESS
    return Links(
        home=home,
        stop=home + reverse("mail_stop", kwargs={"token": _signed(grower, kind, STOP)}),
        night=home + reverse("mail_night", kwargs={"token": _signed(grower, "", NIGHT)})
        if asks_night
        else "",
    )


def link_read(token: str, salt: str) -> tuple[Grower, str] | None:
    """The grower and the kind a link is about; None for one that we did not sign, or a closed account."""
    try:
        identifier, kind = signing.Signer(salt=salt).unsign_object(token)
        known = Grower.objects.filter(public_id=UUID(identifier), closed_at=None)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    grower = known.first()
    return None if grower is None else (grower, kind)


def _signed(grower: Grower, kind: str, salt: str) -> str:
    return signing.Signer(salt=salt).sign_object([str(grower.public_id), kind])
