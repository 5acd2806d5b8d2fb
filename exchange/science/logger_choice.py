"""What a grower may state of a logger's file, what was found of it, and what is still to be asked."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, Literal, TypeVar

from exchange.science.logger_number import DecimalMark, Unit
from exchange.science.logger_stamp import DateOrder
from exchange.science.logger_table import Delimiter, LoggerTable
from exchange.science.logger_text import LoggerFinding

How = Literal["stated", "detected", "asked"]
Clock = Literal["follows", "stays"]
Answer = TypeVar("Answer")
ChoiceName = Literal[
    "delimiter",
    "decimal_mark",
    "time_columns",
    "temperature_column",
    "unit",
    "date_order",
    "zone",
    "clock",
]


@dataclass(frozen=True)
class LoggerChoices:
    r"""What a grower states; None leaves it to the file.

    Parameters
    ----------
    delimiter : {",", ";", "\t", "|"}, optional
    decimal_mark : {".", ","}, optional
    time_columns : tuple of str, optional
        One name of ``LoggerLayout.columns``, or those of date and time of day.
    temperature_column : str, optional
        A name of ``LoggerLayout.columns``.
    unit : {"C", "F", "K"}, optional
    date_order : {"year_first", "day_first", "month_first", "epoch_seconds"}, optional
    zone : str, optional
        ``UTC``, an offset such as ``+02:00``, an IANA name such as ``Europe/Berlin``.
    clock : {"follows", "stays"}, optional
        Whether the logger's clock changed with summer time, or kept the offset of its first reading.
    """

    delimiter: Delimiter | None = None
    decimal_mark: DecimalMark | None = None
    time_columns: tuple[str, ...] | None = None
    temperature_column: str | None = None
    unit: Unit | None = None
    date_order: DateOrder | None = None
    zone: str | None = None
    clock: Clock | None = None


@dataclass(frozen=True)
class Choice(Generic[Answer]):
    """One answer and where it is from.

    Parameters
    ----------
    value : Answer or None
        None while it is asked.
    how : {"stated", "detected", "asked"}
        Stated by the grower, found in the file, or open.
    evidence : str
        Code of what in the file shows it; empty unless detected.
    row : int or None
        Line that shows it, if one does.
    """

    value: Answer | None
    how: How
    evidence: str = ""
    row: int | None = None


@dataclass(frozen=True)
class LoggerQuestion:
    """One thing the file does not tell.

    Parameters
    ----------
    name : ChoiceName
        The field of ``LoggerChoices`` that answers it.
    code : str
        Why it is asked.
    allowed : tuple of str
        Possible answers; empty where any zone may be named.
    suggested : str
        The likelier answer; empty if neither is.
    row : int or None
        Line that makes it a question, if one does.
    parameters : mapping
        What the sentence needs besides.
    """

    name: ChoiceName
    code: str
    allowed: tuple[str, ...] = ()
    suggested: str = ""
    row: int | None = None
    parameters: Mapping[str, str | int | float] = field(default_factory=dict)


@dataclass(frozen=True)
class LoggerLayout:
    """How a file is to be read, each choice with its origin.

    Parameters
    ----------
    encoding : str
        As in ``LoggerText``.
    table : LoggerTable
        Heading, first row and columns.
    delimiter, decimal_mark, time_columns, temperature_column, unit, date_order, zone, clock : Choice
        As in ``LoggerChoices``; ``zone`` is ``cells`` where each cell carries its offset.
    questions : tuple of LoggerQuestion
        What must be stated before the file can be read.
    contradictions : tuple of LoggerFinding
        What was stated and the file denies; kind ``fault``.
    """

    encoding: str
    table: LoggerTable
    delimiter: Choice[Delimiter]
    decimal_mark: Choice[DecimalMark]
    time_columns: Choice[tuple[str, ...]]
    temperature_column: Choice[str]
    unit: Choice[Unit]
    date_order: Choice[DateOrder]
    zone: Choice[str]
    clock: Choice[Clock]
    questions: tuple[LoggerQuestion, ...]
    contradictions: tuple[LoggerFinding, ...]

    @property
    def complete(self) -> bool:
        """Whether the file can be read: nothing is open and nothing contradicts."""
        return not self.questions and not self.contradictions

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns, each once."""
        return self.table.columns
