"""Sessions of the pages, of which a stolen database opens none: keys kept as hashes, contents encrypted."""

import hashlib
from typing import Any

from django.contrib.sessions.backends import db
from django.contrib.sessions.base_session import AbstractBaseSession
from django.utils.encoding import force_bytes

from exchange.services.cipher import decrypted, encrypted
from growers import clock

KEY_LENGTH = 40
"""Of Django's column; of the SHA-256 in hexadecimal these are 160 bits."""


class SessionStore(db.SessionStore):
    """Django's sessions in the database; what the cookie holds is in no row.

    A content may hold what is a way in for a while: a second factor that is being set, the key of a reset.
    """

    def _get_session_from_db(self) -> AbstractBaseSession | None:
        alive = self.model.objects.filter(expire_date__gt=clock.true_now())
        row = alive.filter(session_key=_hashed(self.session_key or "")).first()
        if row is None:
            self._session_key = None
        return row

    def exists(self, session_key: str) -> bool:
        """Whether there is a session of this key."""
        return super().exists(_hashed(session_key))

    def create_model_instance(self, data: dict[str, Any]) -> AbstractBaseSession:
        """The row as it is stored."""
        row = super().create_model_instance(data)
        row.session_key = _hashed(row.session_key)
        return row

    def delete(self, session_key: str | None = None) -> None:
        """End a session: the one of this key, or this one."""
        key = session_key or self.session_key
        if key is not None:
            super().delete(_hashed(key))

    def encode(self, session_dict: dict[str, Any]) -> str:
        """A content as it is stored."""
        return encrypted(super().encode(session_dict).encode("ascii")).decode("ascii")

    def decode(self, session_data: str | bytes) -> dict[str, Any]:
        """A stored content; nothing, as if signed out, if none of our keys fits."""
        try:
            return super().decode(decrypted(force_bytes(session_data)).decode("ascii"))
        except ValueError:
            return {}


def _hashed(session_key: str) -> str:
    return hashlib.sha256(session_key.encode()).hexdigest()[:KEY_LENGTH]
