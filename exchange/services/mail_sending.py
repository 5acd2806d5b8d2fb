"""One message handed to the mail server, and what came of it."""

import smtplib
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage

from exchange.models import MailMessage
from exchange.wording.mail import Composed, Links


@dataclass(frozen=True, slots=True)
class Outcome:
    """Empty ``error``: the server took it. ``is_refused``: it knows no such address, today or tomorrow."""

    error: str = ""
    is_refused: bool = False


def send(message: MailMessage, composed: Composed, links: Links) -> Outcome:
    """Send plain text to the grower of a message.

    Each attempt has the same ``Message-ID``, by which a mailbox knows what it already has. Errors are told by
    their kind and code: their texts hold addresses.
    """
    mail = EmailMessage(
        composed.subject, composed.body, to=[str(message.grower.email)], headers=_headers(message, links)
    )
    try:
        mail.send()
    except smtplib.SMTPRecipientsRefused as error:
        codes = [code for code, _text in error.recipients.values()]
        return Outcome(f"recipient refused: {codes[0]}", is_refused=all(code >= 500 for code in codes))
    except smtplib.SMTPResponseException as error:
        return Outcome(f"{type(error).__name__}: {error.smtp_code}")
    except (smtplib.SMTPException, OSError) as error:
        return Outcome(type(error).__name__)
    return Outcome()


def _headers(message: MailMessage, links: Links) -> dict[str, Any]:
    """One click stops this kind (RFC 8058); answering machines leave it alone (RFC 3834)."""
    host = urlsplit(settings.PUBLIC_ADDRESS).hostname
    return {
        "Message-ID": f"<{message.public_id}@{host}>",
        "List-Unsubscribe": f"<{links.stop}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
        "Auto-Submitted": "auto-generated",
    }
