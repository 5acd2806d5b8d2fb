"""Bytes of a temperature logger's export as lines of text, or the reason why they are none."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from exchange.science import constants

FindingKind = Literal["fault", "note"]

LONGEST_VALUE = 60
FILE_BYTES = int(constants.LOGGER_FILE_BYTES.value)
MOST_LINES = int(constants.LOGGER_ROWS.value)
LONGEST_LINE = int(constants.LOGGER_LINE_CHARACTERS.value)
SIGNATURES = (
    (b"%PDF", "pdf"),
    (b"PK\x03\x04", "zip_or_workbook"),
    (b"\xd0\xcf\x11\xe0", "old_workbook"),
    (b"\x89PNG", "image"),
    (b"\xff\xd8\xff", "image"),
    (b"GIF8", "image"),
    (b"\x1f\x8b", "compressed"),
)
UTF16_MARKS = b"\xff\xfe", b"\xfe\xff"
# Tab and line ends are text; form feed and the old end-of-file mark stand in some exports.
CONTROLS = frozenset(map(chr, [*range(32), 127])) - frozenset("\t\r\n\f\x1a")


@dataclass(frozen=True)
class LoggerFinding:
    """One thing about a file that a grower should see.

    Parameters
    ----------
    code : str
        Stable; its sentence is worded elsewhere.
    kind : {"fault", "note"}
        A file with a fault is not applied; a note is shown and the file applied.
    row : int or None
        Line in the file, the first is 1.
    column : str
        Name of the column as in ``LoggerLayout.columns``; empty if the whole row or file is meant.
    value : str
        What stands there, at most 60 characters.
    parameters : mapping
        What the sentence needs besides.
    """

    code: str
    kind: FindingKind
    row: int | None = None
    column: str = ""
    value: str = ""
    parameters: Mapping[str, str | int | float] = field(default_factory=dict)


class LoggerFileError(ValueError):
    """A file that cannot be read at all; ``finding`` says where and why."""

    def __init__(
        self, code: str, *, row: int | None = None, value: str = "", **parameters: str | int | float
    ) -> None:
        self.finding = LoggerFinding(code, "fault", row, "", shortened(value), parameters)
        super().__init__(f"{code} {dict(parameters)}" if row is None else f"row {row}: {code} {parameters}")


@dataclass(frozen=True)
class LoggerText:
    """The lines of a file, without their ends; ``encoding`` is how they were read."""

    encoding: str
    lines: tuple[str, ...]


def shortened(value: str) -> str:
    """Give at most 60 characters of a cell."""
    return value if len(value) <= LONGEST_VALUE else f"{value[: LONGEST_VALUE - 1]}…"


def logger_text(content: bytes) -> LoggerText:
    """Decode a file: UTF-8, UTF-16 with its mark, at last Windows-1252 (which holds all letters of Latin-1).

    Parameters
    ----------
    content : bytes
        At most 20 MB, 500,000 lines of at most 4,000 characters; line ends LF, CRLF or CR.

    Returns
    -------
    LoggerText
        All lines; line 1 is ``lines[0]``.

    Raises
    ------
    LoggerFileError
        ``file_empty``, ``file_too_long``, ``not_a_text_file`` (parameter ``looks_like``), ``zero_byte``,
        ``control_character``, ``not_decodable``, ``too_many_rows``, ``line_too_long``.
    """
    if len(content) > FILE_BYTES:
        raise LoggerFileError("file_too_long", bytes=len(content), allowed=FILE_BYTES)
    for signature, looks_like in SIGNATURES:
        if content.startswith(signature):
            raise LoggerFileError("not_a_text_file", looks_like=looks_like)
    text, encoding = _decoded(content)
    text = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n\x1a")
    if not text.strip():
        raise LoggerFileError("file_empty")
    if text.count("\n") >= MOST_LINES:
        raise LoggerFileError("too_many_rows", rows=text.count("\n") + 1, allowed=MOST_LINES)
    lines = tuple(text.split("\n"))
    _check_lines(text, lines)
    return LoggerText(encoding, lines)


def _decoded(content: bytes) -> tuple[str, str]:
    if content.startswith(UTF16_MARKS):
        return _decoded_as(content, "utf-16")
    if b"\0" in content:
        before = content[: content.index(b"\0")]
        row = before.replace(b"\r\n", b"\n").replace(b"\r", b"\n").count(b"\n") + 1
        raise LoggerFileError("zero_byte", row=row)
    try:
        return content.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return _decoded_as(content, "windows-1252")


def _decoded_as(content: bytes, encoding: str) -> tuple[str, str]:
    try:
        return content.decode(encoding), encoding
    except UnicodeDecodeError as error:
        raise LoggerFileError("not_decodable", encoding=encoding, byte=error.start) from error


def _check_lines(text: str, lines: tuple[str, ...]) -> None:
    if not CONTROLS.isdisjoint(text):
        row = next(row for row, line in enumerate(lines, start=1) if not CONTROLS.isdisjoint(line))
        raise LoggerFileError("control_character", row=row)
    if max(map(len, lines)) > LONGEST_LINE:
        row = next(row for row, line in enumerate(lines, start=1) if len(line) > LONGEST_LINE)
        raise LoggerFileError("line_too_long", row=row, characters=len(lines[row - 1]), allowed=LONGEST_LINE)
