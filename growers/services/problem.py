"""Collects what is wrong with an input, so that a caller hears of everything at once."""

from dataclasses import dataclass, field
from datetime import date

from growers.errors import FieldProblem
from growers.services.csv_table import refuse

LONGEST_SHOWN = 60


@dataclass
class Problems:
    """The problems of one input, or of one row of a table (``row`` counts from 1, the heading is row 1)."""

    row: int | None = None
    found: list[FieldProblem] = field(default_factory=list)

    def add(self, name: str, value: object, allowed: str, *, code: str = "not_allowed") -> None:
        """Note that a field holds a value that is not allowed, as one sentence."""
        said = "missing" if value is None or value == "" else shown(value)
        subject = name if self.row is None else f"Row {self.row}, column {name}: it"
        self.add_sentence(
            name, code, f"{subject} is {said}; allowed: {allowed}.", value=said, allowed=allowed
        )

    def add_sentence(self, name: str, code: str, detail: str, *, value: str = "", allowed: str = "") -> None:
        """Note a problem of a field in words of one's own."""
        self.found.append(FieldProblem(self.pointer(name), code, detail, value, allowed))

    def pointer(self, name: str) -> str:
        """Where a field stands in the input."""
        return f"/{name}" if self.row is None else f"row {self.row} column {name}"

    def has(self, name: str) -> bool:
        """Whether a field already has a problem."""
        return any(problem.pointer == self.pointer(name) for problem in self.found)

    def refuse_if_any(self) -> None:
        """Raise ``InvalidInput`` with all problems, if there are any."""
        refuse(self.found)


def shown(value: object) -> str:
    """A value as a sentence shows it: dates as ISO dates, long text cut."""
    if isinstance(value, date):
        return value.isoformat()
    text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}… ({len(text)} characters)"
