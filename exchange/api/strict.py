"""Serializers that refuse what they do not know, and fields that convert nothing.

``"5"`` is not a number and ``1`` not a truth: a client that sends them has a mistake worth hearing of.
"""

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from typing import Any, ClassVar
from uuid import UUID

from django.core.validators import ProhibitNullCharactersValidator, RegexValidator
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

LONGEST_TEXT = 300
WITHOUT_NUL = RegexValidator(r"^[^\u0000]*$", _("NUL has no place in a text."), code="nul")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
INSTANT = re.compile(
    r"(\d{4}-\d{2}-\d{2})T(\d{2}:\d{2}:\d{2}(?:\.\d+)?)(Z|[+-]\d{2}:\d{2})", re.ASCII | re.IGNORECASE
)
EARLIEST, LATEST = datetime(1900, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
TIME_OF_DAY = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"


class StrictSerializer(serializers.Serializer[Any]):
    """Refuses unknown fields, each with its pointer, besides all that is wrong with the known ones."""

    media_type: ClassVar[str] = "application/json"

    def to_internal_value(self, data: Any) -> Any:
        """The checked values."""
        known = {str(field.field_name) for field in self._writable_fields}
        unknown = {str(name) for name in data} - known if isinstance(data, Mapping) else set()
        no_field = ErrorDetail(gettext("There is no such field."), "unknown_field")
        faults = {name: [no_field] for name in sorted(unknown)}
        try:
            values = super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({**_as_dict(error.detail), **faults}) from error
        if faults:
            raise ValidationError(faults)
        return values


def _as_dict(detail: Any) -> dict[str, Any]:
    return detail if isinstance(detail, dict) else {"non_field_errors": detail}


class Text(serializers.CharField):
    """Text as it was sent; which signs besides NUL may stand in it is a rule of the services."""

    def __init__(self, *, max_length: int = LONGEST_TEXT, **options: Any) -> None:
        super().__init__(max_length=max_length, trim_whitespace=False, **options)
        # PostgreSQL cannot even be asked for a NUL; as a pattern the document says so too.
        others = [each for each in self.validators if not isinstance(each, ProhibitNullCharactersValidator)]
        self.validators = [*others, WITHOUT_NUL]

    def to_internal_value(self, data: Any) -> str:
        """The text."""
        if not isinstance(data, str):
            self.fail("invalid")
        return data


class Whole(serializers.IntegerField):
    """A whole number within limits."""

    def __init__(self, low: int, high: int, **options: Any) -> None:
        super().__init__(min_value=low, max_value=high, **options)

    def to_internal_value(self, data: Any) -> int:
        """The number."""
        whole = isinstance(data, int) or (isinstance(data, float) and data.is_integer())
        if isinstance(data, bool) or not whole:
            self.fail("invalid")
        return int(data)


class Number(serializers.FloatField):
    """A number within limits."""

    def __init__(self, low: float, high: float, **options: Any) -> None:
        super().__init__(min_value=low, max_value=high, **options)

    def to_internal_value(self, data: Any) -> float:
        """The number."""
        if isinstance(data, bool) or not isinstance(data, int | float) or abs(data) > 1e300:
            self.fail("invalid")
        return float(data)


class Flag(serializers.BooleanField):
    """True or false."""

    def to_internal_value(self, data: Any) -> bool:
        """The truth."""
        if not isinstance(data, bool):
            self.fail("invalid", input=data)
        return data


class Day(serializers.DateField):
    """A civil date, ``2027-06-20``."""

    def to_internal_value(self, value: Any) -> date:
        """The date."""
        if not isinstance(value, str) or not DAY.fullmatch(value):
            self.fail("invalid", format="YYYY-MM-DD")
        return super().to_internal_value(value)


class Instant(serializers.DateTimeField):
    """An instant with its offset (RFC 3339), ``2027-06-20T18:30:00Z``; without one it would be a guess."""

    default_error_messages = {"invalid": _("As 2027-06-20T18:30:00Z; in an address + is written %2B.")}

    def to_internal_value(self, value: Any) -> datetime:
        """The instant."""
        found = INSTANT.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            self.fail("invalid")
        return super().to_internal_value(value.upper())

    def enforce_timezone(self, value: datetime) -> datetime:
        """In UTC; what is further off than any rule allows comes nearer, or its arithmetic would overflow."""
        if not EARLIEST.year < value.year < LATEST.year:
            return EARLIEST if value.year <= EARLIEST.year else LATEST
        return value.astimezone(UTC)


class TimeOfDay(serializers.RegexField):
    """A time of the clock, ``07:30``."""

    def __init__(self, **options: Any) -> None:
        super().__init__(TIME_OF_DAY, **options)

    def to_internal_value(self, data: Any) -> Any:
        """The time as text; the pattern is checked after this, the time is made by the field's owner."""
        if not isinstance(data, str):
            self.fail("invalid")
        return data

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """The time."""
        text = super().run_validation(data)
        return time.fromisoformat(text) if isinstance(text, str) else text

    def to_representation(self, value: Any) -> str:
        """Hours and minutes."""
        return f"{value:%H:%M}"


class Choice(serializers.ChoiceField):
    """One of a few words."""

    def to_internal_value(self, data: Any) -> Any:
        """The word."""
        if not isinstance(data, str):
            self.fail("invalid_choice", input=data)
        return super().to_internal_value(data)


class Id(serializers.UUIDField):
    """The public id of something."""

    def to_internal_value(self, data: Any) -> UUID:
        """The id."""
        if not isinstance(data, str):
            self.fail("invalid", value=data)
        return super().to_internal_value(data)


class Words(serializers.ListField):
    """A list of short words."""

    def __init__(self, *, max_length: int = 30, **options: Any) -> None:
        options.setdefault("child", Text(max_length=60))
        super().__init__(max_length=max_length, **options)

    def to_internal_value(self, data: Any) -> list[Any]:
        """The list."""
        if not isinstance(data, list):
            self.fail("not_a_list", input_type=type(data).__name__)
        return super().to_internal_value(data)
