"""Tables that go out: a spreadsheet must not take a cell for a formula, and an import gets back what it was.

A cell that begins like a formula gets an apostrophe in front, as a spreadsheet's own sign for text; so does
one that already looks like that, so that taking one apostrophe away is always right.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence

# OWASP, "CSV Injection" (community page): = + - @, tab and carriage return; here full-width signs too.
FORMULA = re.compile(r"'*\s*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
LIST_MARK = ";"


def neutralised(cell: str) -> str:
    """A cell that no spreadsheet reckons."""
    return f"'{cell}" if FORMULA.match(cell) else cell


def restored(cell: str) -> str:
    """A cell as it was before it was neutralised."""
    return cell[1:] if cell.startswith("'") and FORMULA.match(cell) else cell


def table_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A header and rows as CSV (RFC 4180), every cell neutralised; None is blank."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([neutralised("" if cell is None else str(cell)) for cell in row] for row in rows)
    return out.getvalue()


def list_cell(parts: Iterable[object]) -> str:
    """Several words or numbers in one cell, quoted where a word holds the mark between them."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=LIST_MARK, lineterminator="").writerow(list(parts))
    return out.getvalue()


def list_parts(cell: str) -> list[str]:
    """The words of a cell; blank ones are left out, and a new line ends a word too."""
    lines = csv.reader(cell.splitlines(), delimiter=LIST_MARK, skipinitialspace=True)
    return [part.strip() for line in lines for part in line if part.strip()]
