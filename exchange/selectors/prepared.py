"""Queries asked for with every page: their text is made once, to make it costs more than the answer."""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

from django.db import connection
from django.db.models import QuerySet

GROWER, KEY = -1, -2
INSTANT = datetime(1, 1, 1, tzinfo=UTC)
"""What stands in the query that is prepared where a value will be."""
KEYS = "IN (%s)"
"""A list of one in the text of a query: where the keys will be."""


class Prepared:
    """A query of plain columns, with a grower, an instant and ``[KEY]`` in it or some of them."""

    def __init__(self, make: Callable[[], QuerySet[Any, Any]]) -> None:
        self._make = make

    def rows(
        self, *, grower_id: int = GROWER, instant: datetime = INSTANT, keys: Iterable[int] = ()
    ) -> list[tuple[Any, ...]]:
        """The rows for these values; whatever the database gives, unconverted."""
        sql, parameters = self._text
        values = {GROWER: grower_id, self._instant(INSTANT): self._instant(instant)}
        plain = int | str | datetime  # others, such as the path into a JSON column, are never replaced
        stated = [values.get(each, each) if isinstance(each, plain) else each for each in parameters]
        # Whole numbers of our own; so many parameters would cost more than the answer.
        chosen = ",".join(map(str, keys)) or "NULL"
        with connection.cursor() as cursor:
            cursor.execute(sql.replace(KEYS, f"IN ({chosen})"), [each for each in stated if each != KEY])
            return list(cursor.fetchall())

    @cached_property
    def _text(self) -> tuple[str, tuple[Any, ...]]:
        sql, parameters = self._make().query.sql_with_params()
        return sql, tuple(parameters)

    @staticmethod
    def _instant(instant: datetime) -> Any:
        return connection.ops.adapt_datetimefield_value(instant)
