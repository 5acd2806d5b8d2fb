"""A logger's file as its grower means it: read, held against what is on record, refused with reasons."""

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from exchange.models import TemperatureUpload
from exchange.science.logger_choice import ChoiceName, LoggerChoices, LoggerLayout
from exchange.science.logger_layout import logger_layout
from exchange.science.logger_packing import pack_readings
from exchange.science.logger_reading import FEWEST_READINGS, LoggerReadings, logger_readings
from exchange.science.logger_text import LoggerFileError, LoggerFinding, logger_text
from exchange.science.logger_zone import IN_CELLS
from exchange.selectors.temperature_spell import counted_readings
from exchange.services.custody import CLOCK_MAY_BE_FAST
from exchange.services.temperature_subject import OfWhat
from exchange.wording.logger import finding_sentence, question_sentence
from growers.errors import FieldProblem, InvalidInput
from growers.services.csv_table import refuse

CHOICES: tuple[ChoiceName, ...] = (
    "delimiter",
    "decimal_mark",
    "time_columns",
    "temperature_column",
    "unit",
    "date_order",
    "zone",
    "clock",
)


@dataclass(frozen=True)
class WithPollen:
    """From when to when the logger lay with the pollen; None: as long as it read."""

    since: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True)
class LoggerFile:
    """A file as read; ``readings`` and ``upload``, which is not saved, are None while something is open."""

    digest: str
    layout: LoggerLayout
    findings: tuple[LoggerFinding, ...]
    readings: LoggerReadings | None = None
    upload: TemperatureUpload | None = None

    @property
    def findings_count(self) -> int:
        """How much was found, the unlisted included."""
        read = self.readings
        return len(self.findings) if read is None else _count(read) + len(self.findings) - len(read.findings)

    @property
    def faults(self) -> tuple[LoggerFinding, ...]:
        """Why it cannot be applied."""
        return tuple(finding for finding in self.findings if finding.kind == "fault")


THROUGHOUT = WithPollen()


def file_read(content: bytes, choices: LoggerChoices, what: OfWhat, beside: WithPollen) -> LoggerFile:
    """Read a file as far as its layout is known; ``InvalidInput`` if it cannot be read at all."""
    digest = hashlib.sha256(content).hexdigest()
    try:
        text = logger_text(content)
        # What is shown as the zone where each cell has its own offset is no zone that can be stated.
        layout = logger_layout(text, replace(choices, zone=None) if choices.zone == IN_CELLS else choices)
        if not layout.complete:
            return LoggerFile(digest, layout, layout.contradictions)
        readings = logger_readings(text, layout)
    except LoggerFileError as error:
        raise InvalidInput(finding_sentence(error.finding), problems=(_problem(error.finding),)) from error
    except ValueError as error:
        raise InvalidInput(str(error)) from error
    return _held_against(LoggerFile(digest, layout, readings.findings, readings), what, beside)


def file_confirmed(content: bytes, choices: LoggerChoices, what: OfWhat, beside: WithPollen) -> LoggerFile:
    """Read a file with every choice stated; ``InvalidInput`` unless it can be applied just so."""
    file = file_read(content, choices, what, beside)
    _choices_check(choices, file.layout)
    refuse([_problem(finding) for finding in file.faults])
    return file


def answers(layout: LoggerLayout) -> LoggerChoices:
    """How a file would be read: what a grower confirms."""
    return LoggerChoices(**{name: getattr(layout, name).value for name in CHOICES})


def finding_record(finding: LoggerFinding) -> Mapping[str, Any]:
    """A finding as it is stored."""
    return {**vars(finding), "parameters": dict(finding.parameters)}


def _count(readings: LoggerReadings) -> int:
    return sum(readings.counts.values())


def _held_against(file: LoggerFile, what: OfWhat, beside: WithPollen) -> LoggerFile:
    """The file as an upload, unless its times cannot be this thing's."""
    readings = file.readings
    if readings is None or file.faults:
        return file
    late = np.flatnonzero(readings.epoch_seconds > (what.now + CLOCK_MAY_BE_FAST).timestamp())
    if late.size:
        column = " + ".join(file.layout.time_columns.value or ())
        value = f"{_instant(readings.epoch_seconds[late[0]]):%Y-%m-%d %H:%M}"
        row = int(readings.row[late[0]])
        return replace(
            file, findings=(*file.findings, LoggerFinding("in_the_future", "fault", row, column, value))
        )
    upload = _upload(file, readings, what, beside)
    if len(counted_readings(what.lot, upload)[0]) < FEWEST_READINGS:
        first, last = (_instant(readings.epoch_seconds[place]).isoformat() for place in (0, -1))
        fault = LoggerFinding("not_of_its_time", "fault", parameters={"first": first, "last": last})
        return replace(file, findings=(*file.findings, fault))
    return replace(file, upload=upload)


def _upload(
    file: LoggerFile, readings: LoggerReadings, what: OfWhat, beside: WithPollen
) -> TemperatureUpload:
    seconds = readings.epoch_seconds
    first = datetime.fromtimestamp(math.floor(seconds[0]), UTC)
    last = datetime.fromtimestamp(math.ceil(seconds[-1]), UTC)
    confirmed = {name: getattr(file.layout, name).value for name in CHOICES}
    stated = {"with_it_since": beside.since, "with_it_until": beside.until}
    return TemperatureUpload(
        lot=what.lot,
        packet=what.packet,
        began_at=first if beside.since is None else max(first, beside.since),
        ended_at=last if beside.until is None else min(last, beside.until),
        file_digest=file.digest,
        confirmed={
            **confirmed,
            **{name: None if at is None else at.isoformat() for name, at in stated.items()},
        },
        findings=[finding_record(finding) for finding in readings.findings],
        readings=pack_readings(seconds, readings.temperature_c.astype(np.float32)),
        uploaded_by=what.actor,
        created_at=what.now,
    )


def _instant(seconds: float) -> datetime:
    return datetime.fromtimestamp(float(seconds), UTC)


def _choices_check(choices: LoggerChoices, layout: LoggerLayout) -> None:
    """Every choice is stated, and each is the way in which the file is read."""
    problems = [
        FieldProblem(f"/{question.name}", question.code, question_sentence(question))
        for question in layout.questions
    ]
    asked = {question.name for question in layout.questions}
    for name in CHOICES:
        stated, found = getattr(choices, name), getattr(layout, name).value
        if name not in asked and stated is None:
            said = f"{name} is not confirmed; the file would be read with {_shown(found)}."
            problems.append(FieldProblem(f"/{name}", "not_confirmed", said, "missing", _shown(found)))
        elif found is not None and stated is not None and stated != found and not layout.contradictions:
            said = f"{name} is {_shown(stated)}; the file is read with {_shown(found)}."
            problems.append(FieldProblem(f"/{name}", "not_allowed", said, _shown(stated), _shown(found)))
    refuse([*problems, *map(_problem, layout.contradictions)])


def _shown(value: object) -> str:
    return " + ".join(value) if isinstance(value, tuple) else str(value)


def _problem(finding: LoggerFinding) -> FieldProblem:
    if finding.row is None:
        return FieldProblem("/file", finding.code, finding_sentence(finding), finding.value)
    where = f"row {finding.row}" + (f" column {finding.column}" if finding.column else "")
    return FieldProblem(where, finding.code, f"R{where[1:]}: {finding_sentence(finding)}", finding.value)
