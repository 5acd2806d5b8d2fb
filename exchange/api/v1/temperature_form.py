"""Forms of temperatures: how a file is to be read, what it would do, what is kept."""

from collections.abc import Mapping
from typing import Any, get_args

from rest_framework import serializers

from exchange.api.strict import Choice, Id, Instant, StrictSerializer, Text
from exchange.api.table import TableFormParser
from exchange.api.v1.lot_viability import DATES, DatesOut
from exchange.api.v1.told import ToldOut
from exchange.models import TemperatureUpload
from exchange.science.logger_choice import ChoiceName, Clock, LoggerChoices, LoggerLayout
from exchange.science.logger_number import Unit
from exchange.science.logger_stamp import DateOrder
from exchange.science.logger_text import FILE_BYTES
from exchange.services.photo import MOST_BYTES
from exchange.services.temperature import TemperaturePreview
from exchange.services.temperature_file import CHOICES
from exchange.wording.logger import finding_sentence, question_sentence
from exchange.wording.lot import doubt_sentence

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
MARKS = {"point": ".", "comma": ","}
WORDS: Mapping[str, Mapping[str, str]] = {"delimiter": DELIMITERS, "decimal_mark": MARKS}
FIELDS = {"time_columns": "time_column"}
"""Choices whose first field has another name than the choice."""

ROOM_FOR_FIELDS = 100_000
LONGEST_COLUMN = 1000

SUMMARY: dict[str, Any] = {
    "readings": 433,
    "minimum_c": 2.1,
    "maximum_c": 34.0,
    "hours_above_8_c": 6.3,
    "longest_hours_above_8_c": 6.3,
    "mean_kinetic_c": 11.2,
    "worst_day_kinetic_c": 19.8,
    "span_hours": 72.0,
    "assumed_hours": 0.0,
    "thermal_age_days": 6.4,
}
CONFIRMED: dict[str, Any] = {
    "delimiter": "semicolon",
    "decimal_mark": "point",
    "time_column": "Time (UTC)",
    "time_of_day_column": None,
    "temperature_column": "Temperature (°C)",
    "unit": "C",
    "date_order": "year_first",
    "zone": "UTC",
    "clock": "stays",
    "with_it_since": None,
    "with_it_until": None,
}
TEMPERATURE: dict[str, Any] = {
    "id": "7a6b5c4d-3e2f-4102-9a8b-7c6d5e4f3a2b",
    "packet_id": "3e2d1c0b-a998-4877-8665-544332211000",
    "felt": None,
    "began_at": "2027-07-01T08:00:00Z",
    "ended_at": "2027-07-04T08:00:00Z",
    "read_at": "2027-07-04T08:30:00Z",
    "summary": SUMMARY,
    "findings_count": 0,
    "confirmed": CONFIRMED,
    "has_photo": False,
    "by_you": True,
}
FELT = {
    **TEMPERATURE,
    "packet_id": None,
    "felt": "cool",
    "ended_at": "2027-07-01T11:00:00Z",
    "read_at": "2027-07-01T11:30:00Z",
    "summary": None,
    "confirmed": None,
}
READING = {
    "at": "2027-07-01T08:00:00Z",
    "local": "2027-07-01T08:00:00+00:00",
    "zone": "UTC",
    "temperature_c": 4.5,
    "row": 2,
}
PREVIEW: dict[str, Any] = {
    "can_be_applied": True,
    "columns": ["Time (UTC)", "Temperature (°C)"],
    "heading_row": 1,
    "encoding": "utf-8",
    "choices": [
        {"field": "delimiter", "value": "semicolon", "how": "detected", "evidence": "most_readings", "row": 2}
    ],
    "questions": [],
    "first": READING,
    "last": {**READING, "at": "2027-07-04T08:00:00Z", "local": "2027-07-04T08:00:00+00:00", "row": 434},
    "findings": [
        {
            "code": "gap",
            "kind": "note",
            "row": 62,
            "column": "",
            "value": "",
            "detail": "No reading for 2.0 h before this one.",
        }
    ],
    "findings_count": 1,
    "summary": SUMMARY,
    "before": DATES,
    "after": DATES,
    "new_doubts": [],
}
FILE = "Time (UTC);Temperature (°C)\n2027-07-01 08:00;4.5\n2027-07-01 08:10;4.6\n"


class LoggerFormParser(TableFormParser):
    """A form with a logger's file and a photo: the one body that may be longer than others."""

    most_bytes = FILE_BYTES + MOST_BYTES + ROOM_FOR_FIELDS


class LoggerIn(StrictSerializer):
    """A logger's file and what its grower states of it; what is left out is looked for in the file."""

    media_type = LoggerFormParser.media_type

    file = serializers.FileField(
        allow_empty_file=True,
        help_text=f"Text or CSV as the logger's program exports it, at most {FILE_BYTES:,} bytes.",
    )
    packet_id = Id(required=False, help_text="Of the packet it lay with; left out: with the lot.")
    delimiter = Choice([(word, word) for word in DELIMITERS], required=False)
    decimal_mark = Choice([(word, word) for word in MARKS], required=False)
    time_column = Text(max_length=LONGEST_COLUMN, required=False)
    time_of_day_column = Text(
        max_length=LONGEST_COLUMN, required=False, help_text="Where the date stands in a column of its own."
    )
    temperature_column = Text(max_length=LONGEST_COLUMN, required=False)
    unit = Choice([(word, word) for word in get_args(Unit)], required=False)
    date_order = Choice([(word, word) for word in get_args(DateOrder)], required=False)
    zone = Text(
        max_length=60,
        required=False,
        help_text="`UTC`, an offset such as `+02:00`, a name such as `Europe/Berlin`; `cells` where each"
        " cell has its offset.",
    )
    clock = Choice(
        [(word, word) for word in get_args(Clock)],
        required=False,
        help_text="Whether the logger's clock follows summer time or stays.",
    )
    with_it_since = Instant(
        required=False, help_text="When it was laid to the pollen, if later than it read."
    )
    with_it_until = Instant(
        required=False, help_text="When it was taken out: what it reads afterwards does not count."
    )


class LoggerConfirmedIn(LoggerIn):
    """A logger's file with every choice as the preview showed it."""

    photo = serializers.FileField(
        required=False,
        allow_empty_file=True,
        help_text=f"JPEG, PNG or WebP, at most {MOST_BYTES:,} bytes. It is drawn anew; nothing else of the"
        " file is kept, no place and no time.",
    )


class FeltIn(StrictSerializer):
    """How it felt in the hand."""

    felt = Choice(TemperatureUpload.Felt.choices)
    packet_id = Id(required=False, allow_null=True)
    began_at = Instant(required=False, help_text="Of a packet: since it was handed over, if left out.")
    ended_at = Instant(required=False, help_text="Now, or when the packet was received, if left out.")


class SummaryOut(serializers.Serializer[Any]):
    """The figures of a log within the time that counts."""

    readings = serializers.IntegerField()
    minimum_c = serializers.FloatField()
    maximum_c = serializers.FloatField()
    hours_above_8_c = serializers.FloatField()
    longest_hours_above_8_c = serializers.FloatField(help_text="Without a break.")
    mean_kinetic_c = serializers.FloatField(help_text="Mean kinetic temperature.")
    worst_day_kinetic_c = serializers.FloatField(help_text="The same of the warmest 24 hours.")
    span_hours = serializers.FloatField()
    assumed_hours = serializers.FloatField(help_text="In gaps, in which warmth is assumed.")
    thermal_age_days = serializers.FloatField(help_text="Age as days in a refrigerator at 4 °C that it cost.")


class ConfirmedOut(serializers.Serializer[Any]):
    """How the file was read."""

    delimiter = serializers.CharField()
    decimal_mark = serializers.CharField()
    time_column = serializers.CharField()
    time_of_day_column = serializers.CharField(allow_null=True)
    temperature_column = serializers.CharField()
    unit = serializers.CharField()
    date_order = serializers.CharField()
    zone = serializers.CharField()
    clock = serializers.CharField()
    with_it_since = serializers.DateTimeField(allow_null=True)
    with_it_until = serializers.DateTimeField(allow_null=True)


class TemperatureOut(serializers.Serializer[Any]):
    """Temperatures of a lot or a packet: read by a logger, or felt."""

    id = serializers.UUIDField(source="public_id")
    packet_id = serializers.UUIDField(allow_null=True)
    felt = serializers.ChoiceField(TemperatureUpload.Felt.choices, allow_null=True)
    began_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField()
    read_at = serializers.DateTimeField()
    summary = SummaryOut(allow_null=True, help_text="Null where it was felt.")
    findings_count = serializers.IntegerField(
        help_text="Rows of the file that were noted, as in the preview."
    )
    confirmed = ConfirmedOut(allow_null=True)
    has_photo = serializers.BooleanField()
    by_you = serializers.BooleanField()


class ReadingOut(serializers.Serializer[Any]):
    """One reading, to be held against what the grower knows."""

    at = serializers.DateTimeField()
    local = serializers.CharField(help_text="The same on the clock of `zone`, with its offset.")
    zone = serializers.CharField()
    temperature_c = serializers.FloatField()
    row = serializers.IntegerField()


class ChoiceOut(serializers.Serializer[Any]):
    """One answer to how the file is read: send it back as a field of the form."""

    field = serializers.CharField()
    value = serializers.CharField(allow_null=True, help_text="Null while it is asked.")
    how = serializers.ChoiceField([(word, word) for word in ("stated", "detected", "asked")])
    evidence = serializers.CharField(allow_blank=True, help_text="What in the file shows it.")
    row = serializers.IntegerField(allow_null=True, help_text="The line that shows it.")


class QuestionOut(serializers.Serializer[Any]):
    """One thing that the file does not tell."""

    field = serializers.CharField(help_text="That answers it.")
    code = serializers.CharField()
    detail = serializers.CharField()
    allowed = serializers.ListField(child=serializers.CharField(), help_text="Empty: any zone.")
    suggested = serializers.CharField(allow_blank=True, help_text="The likelier answer, if one is.")
    row = serializers.IntegerField(allow_null=True)


class FindingOut(serializers.Serializer[Any]):
    """One thing about the file; with a fault it cannot be applied."""

    code = serializers.CharField()
    kind = serializers.ChoiceField([(word, word) for word in ("fault", "note")])
    row = serializers.IntegerField(allow_null=True)
    column = serializers.CharField(allow_blank=True)
    value = serializers.CharField(allow_blank=True)
    detail = serializers.CharField()


class TemperaturePreviewOut(serializers.Serializer[Any]):
    """What a file would do; summary and dates are null while something is open or wrong."""

    can_be_applied = serializers.BooleanField()
    columns = serializers.ListField(child=serializers.CharField())
    heading_row = serializers.IntegerField(allow_null=True)
    encoding = serializers.CharField()
    choices = ChoiceOut(many=True)
    questions = QuestionOut(many=True)
    first = ReadingOut(allow_null=True)
    last = ReadingOut(allow_null=True)
    findings = FindingOut(many=True, help_text="A hundred of each kind and column at most.")
    findings_count = serializers.IntegerField(help_text="All of them.")
    summary = SummaryOut(allow_null=True)
    before = DatesOut(allow_null=True)
    after = DatesOut(allow_null=True)
    new_doubts = ToldOut(many=True)


def choices_stated(fields: Mapping[str, Any]) -> LoggerChoices:
    """The choices among the fields of a form."""
    stated: dict[str, Any] = {name: fields.get(name) for name in CHOICES}
    for name, words in WORDS.items():
        stated[name] = None if stated[name] is None else words[stated[name]]
    columns = (fields.get("time_column"), fields.get("time_of_day_column"))
    times = tuple(column for column in columns if column is not None)
    return LoggerChoices(**{**stated, "time_columns": times or None})


def confirmed_shown(confirmed: Mapping[str, Any]) -> Mapping[str, Any]:
    """What was confirmed, in the words of the form."""
    shown = {name: _worded(name, value) for name, value in confirmed.items() if name != "time_columns"}
    time, *of_day = confirmed["time_columns"]
    return {**shown, "time_column": time, "time_of_day_column": of_day[0] if of_day else None}


def preview_shown(preview: TemperaturePreview) -> Mapping[str, Any]:
    """A preview in the words of the form."""
    file, layout = preview.file, preview.file.layout
    return {
        "can_be_applied": file.upload is not None,
        "columns": layout.columns,
        "heading_row": layout.table.heading_row,
        "encoding": layout.encoding,
        "choices": [row for name in CHOICES for row in _choice(layout, name)],
        "questions": [
            {
                "field": FIELDS.get(question.name, question.name),
                "code": question.code,
                "detail": question_sentence(question),
                "allowed": [_worded(question.name, word) for word in question.allowed],
                "suggested": _worded(question.name, question.suggested),
                "row": question.row,
            }
            for question in layout.questions
        ],
        "first": preview.first,
        "last": preview.last,
        "findings": [{**vars(each), "detail": finding_sentence(each)} for each in file.findings],
        "findings_count": file.findings_count,
        "summary": preview.summary,
        "before": preview.before,
        "after": preview.after,
        "new_doubts": [
            {"code": code, "detail": doubt_sentence(code), "parameters": {}} for code in preview.new_doubts
        ],
    }


def _choice(layout: LoggerLayout, name: ChoiceName) -> list[Mapping[str, Any]]:
    choice = getattr(layout, name)
    said = {"how": choice.how, "evidence": choice.evidence, "row": choice.row}
    if name != "time_columns":
        return [{"field": name, "value": _worded(name, choice.value), **said}]
    names = ("time_column", "time_of_day_column")
    pairs = zip(names, choice.value or (None,), strict=False)
    return [{"field": field, "value": value, **said} for field, value in pairs]


def _worded(name: str, value: Any) -> Any:
    words = WORDS.get(name, {})
    return next((word for word, sign in words.items() if sign == value), value)
