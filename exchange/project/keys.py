"""Secret keys: checked when given, made on the first start of an embedded server."""

import base64
import os
import re
import secrets
import stat
import tempfile
from pathlib import Path

from exchange.project.environment import Environment, SettingError, wrong

SECRET_KEY_LENGTH = 50
ADDRESS_KEY_BYTES = 32
ADDRESS_KEY = re.compile(r"[A-Za-z0-9_-]{43}=")


def make_secret_key() -> str:
    """A new key for signatures."""
    return secrets.token_urlsafe(64)


def make_address_key() -> str:
    """A new key that encrypts postal addresses: 32 random bytes, URL-safe base64."""
    return base64.urlsafe_b64encode(secrets.token_bytes(ADDRESS_KEY_BYTES)).decode("ascii")


def check_secret_key(key: str) -> str:
    """The key itself, if nobody can have guessed or copied it from an example."""
    if len(key) < SECRET_KEY_LENGTH or len(set(key)) < 10 or key.startswith("django-insecure-"):
        raise SettingError(
            f"SECRET_KEY has {len(key)} characters or is an example; it must be at least {SECRET_KEY_LENGTH} "
            "random characters, as python -c 'import secrets; print(secrets.token_urlsafe(64))' prints them."
        )
    return key


def check_address_keys(text: str) -> tuple[str, ...]:
    """The keys of postal addresses, separated by commas or lines; the first encrypts, all decrypt."""
    keys = tuple(key for key in text.replace(",", " ").split() if key)
    for number, key in enumerate(keys, start=1):
        if not ADDRESS_KEY.fullmatch(key):
            raise SettingError(
                f"ADDRESS_KEYS: key {number} is not usable; each must be {ADDRESS_KEY_BYTES} random bytes in "
                "URL-safe base64 (44 characters); the keys are separated by commas, the first one encrypts."
            )
    return keys


def service_secret(environment: Environment, name: str) -> str:
    """A secret that service mode cannot start without."""
    value = environment.secret(name)
    if not value:
        raise SettingError(f"{name} is not set; with DATABASE_URL, set {name} or {name}_FILE.")
    return value


def kept_secret(path: Path, made: str) -> str:
    """The secret in a file; ``made`` becomes it when there is no such file yet.

    Two processes that start at once agree on one secret: a complete file is linked into place, and the
    link fails for the second.
    """
    if not path.exists():
        write_once(path, made)
    mode = stat.S_IMODE(path.stat().st_mode)
    if mode & 0o077:
        raise wrong(str(path), f"mode {mode:o}", "others must not read it: set its mode to 600")
    secret = path.read_text(encoding="ascii").strip()
    if not secret:
        raise wrong(str(path), "empty", "remove it to have a new key made, or restore it from the backup")
    return secret


def write_once(path: Path, text: str) -> None:
    """Put a file of mode 600 in place unless one is there already."""
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(text + "\n")
        os.link(name, path)
    except FileExistsError:
        return
    finally:
        Path(name).unlink()


def private_folder(name: str, path: Path) -> Path:
    """The folder, made with mode 700 when missing; one that others can read is refused."""
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise wrong(name, str(path), "it must be a folder that this account can make and write") from error
    mode = stat.S_IMODE(path.stat().st_mode)
    if mode & 0o077:
        raise wrong(name, str(path), f"its mode is {mode:o} and must be 700, because keys are kept there")
    if not os.access(path, os.W_OK | os.X_OK):
        raise wrong(name, str(path), "it must be a folder that this account can write")
    return path
