"""What every write of a row shares: known fields, each checked against its column, nothing half written."""

import math
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, models, transaction

from growers.errors import Conflict
from growers.services import change
from growers.services.problem import Problems

if TYPE_CHECKING:
    Column = models.Field[Any, Any]
else:
    Column = models.Field

Ranges = Mapping[str, tuple[float, float]]
MOST_WORDS = 30
LONGEST_WORD = 60
UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
JOINERS = "\u200c\u200d"


def fields_set(row: models.Model, fields: Mapping[str, Any], allowed: Collection[str]) -> None:
    """Set the named fields on a row, text tidied; an unknown name is a caller's mistake."""
    unknown = sorted(set(fields) - set(allowed))
    if unknown:
        raise TypeError(f"not fields of {type(row).__name__}: {', '.join(unknown)}")
    for name, value in fields.items():
        setattr(row, name, text_tidied(value) if isinstance(value, str) else value)


def text_tidied(text: str) -> str:
    """Composed letters (NFC), no space at the ends."""
    return unicodedata.normalize("NFC", text).strip()


def as_list(words: Any) -> Any:
    """A tuple as the list that the column gives back; anything else as it is, for the check to refuse."""
    return list(words) if isinstance(words, tuple) else words


def columns_check(row: models.Model, problems: Problems, *, ranges: Ranges, names: Collection[str]) -> None:
    """Check type, choices, length and range of the named columns, without asking the database."""
    for column in row._meta.concrete_fields:
        if column.name in names and not column.is_relation:
            _column_check(column, getattr(row, column.name), problems, ranges.get(column.name))


def _column_check(column: Column, value: Any, problems: Problems, limits: tuple[float, float] | None) -> None:
    allowed = _allowed(column, value, limits)
    if allowed is not None and not problems.has(column.name):
        problems.add(column.name, value, allowed)


def _allowed(column: Column, value: Any, limits: tuple[float, float] | None) -> str | None:
    """What is allowed in a column, if this value is not."""
    if value is None:
        return None if column.null else _hint(column, limits)
    if isinstance(column, models.CharField | models.TextField):
        return _text_allowed(column, value)
    if isinstance(column, models.BooleanField):
        return None if isinstance(value, bool) else "true or false"
    if isinstance(column, models.IntegerField | models.FloatField):
        return _number_allowed(column, value, limits)
    return None


def _text_allowed(column: Column, text: Any) -> str | None:
    if not isinstance(text, str):
        return "text"
    if not text:
        return None if column.blank else _hint(column, None)
    if column.choices:
        return None if text in _choices(column) else _hint(column, None)
    if column.max_length is not None and len(text) > column.max_length:
        return f"at most {column.max_length} characters"
    kept = text.replace("\n", "") if isinstance(column, models.TextField) else text
    return None if is_printable(kept) else "text without control or invisible characters"


def is_printable(text: str) -> bool:
    """Whether a text is free of control and invisible signs; the joiners that scripts need may stay."""
    return not any(sign not in JOINERS and unicodedata.category(sign) in UNPRINTABLE for sign in text)


def _number_allowed(column: Column, value: Any, limits: tuple[float, float] | None) -> str | None:
    whole = isinstance(column, models.IntegerField)
    fits = isinstance(value, int if whole else int | float) and not isinstance(value, bool)
    if not fits or not math.isfinite(value):
        return _hint(column, limits)
    if limits is not None and not limits[0] <= value <= limits[1]:
        return _hint(column, limits)
    return None


def _hint(column: Column, limits: tuple[float, float] | None) -> str:
    if column.choices:
        return ", ".join(_choices(column))
    if limits is not None:
        whole = "whole numbers from " if isinstance(column, models.IntegerField) else ""
        return f"{whole}{limits[0]:g} to {limits[1]:g}"
    return f"1 to {column.max_length} characters" if column.max_length else "a value"


def _choices(column: Column) -> list[str]:
    return [str(value) for value, _ in column.flatchoices]


def words_check(problems: Problems, name: str, words: object, allowed: Collection[str] | None = None) -> None:
    """Check a list of short words; with ``allowed``, of these words only."""
    if not isinstance(words, list | tuple) or len(words) > MOST_WORDS:
        problems.add(name, words, f"a list of at most {MOST_WORDS} words")
        return
    for word in words:
        if not isinstance(word, str) or not 0 < len(word) <= LONGEST_WORD or not is_printable(word):
            problems.add(name, word, f"words of 1 to {LONGEST_WORD} characters")
        elif allowed is not None and word not in allowed:
            problems.add(name, word, ", ".join(allowed))


def row_save(row: models.Model, *, kind: str, names: Iterable[str] | None = None) -> None:
    """Write a checked row and note the change, both or neither.

    Services ask for what must be unique first, for a sentence; the database's constraints decide.
    """
    try:
        with transaction.atomic():
            row.save(update_fields=None if names is None else list(names))
            change.note(kind, row)
    except IntegrityError as error:
        raise Conflict("Somebody else wrote the same thing at this moment; try again.") from error
