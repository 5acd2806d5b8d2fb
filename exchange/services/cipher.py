"""Encryption of what must not be read from a stolen database; the first address key encrypts, all decrypt."""

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings


def encrypted(content: bytes) -> bytes:
    """The content, encrypted and authenticated."""
    return _cipher().encrypt(content)


def decrypted(content: bytes) -> bytes:
    """What was encrypted; raises ``ValueError`` if none of the keys fits."""
    try:
        return _cipher().decrypt(content)
    except InvalidToken as error:
        raise ValueError("None of the address keys decrypts this; was a key dropped too early?") from error


def _cipher() -> MultiFernet:
    return MultiFernet([Fernet(key) for key in settings.ADDRESS_KEYS])
