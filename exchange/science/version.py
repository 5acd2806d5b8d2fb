"""The version of the model: it changes when any number or table behind a result changes."""

import hashlib
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path

from exchange.science import constants

DATA_DIR = Path(__file__).resolve().parent / "data"
TABLES = ("*.csv", "*.npz", "*.xz")


@cache
def model_version() -> str:
    """Twelve hexadecimal digits over every constant and every table of data."""
    digest = hashlib.sha256()
    for line in constant_lines():
        digest.update(line.encode())
    for path in sorted(found for pattern in TABLES for found in DATA_DIR.glob(pattern)):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def constant_lines() -> list[str]:
    """Every constant as ``NAME field=value …``, in order of name."""
    found = {name: value for name, value in vars(constants).items() if is_dataclass(value) and name.isupper()}
    return [f"{name} {_line(found[name])}\n" for name in sorted(found)]


def _line(constant: object) -> str:
    if not is_dataclass(constant):
        raise TypeError(f"{constant!r} is no constant.")
    return " ".join(f"{field.name}={getattr(constant, field.name)!r}" for field in fields(constant))
