"""Gathers what a logger's file leaves open and what it denies."""

from typing import TypeVar

from exchange.science.logger_choice import Choice, ChoiceName, LoggerQuestion
from exchange.science.logger_text import LoggerFinding, shortened

Answer = TypeVar("Answer")


class Open:
    """Questions and contradictions of one file, in the order in which they came up."""

    def __init__(self) -> None:
        self.questions: list[LoggerQuestion] = []
        self.contradictions: list[LoggerFinding] = []

    def ask(self, question: LoggerQuestion) -> Choice[Answer]:
        """Note a question; its choice stays without a value."""
        self.questions.append(question)
        return Choice(None, "asked")

    def refuse(self, code: str, *, row: int | None = None, column: str = "", value: str = "") -> None:
        """Note that something stated cannot be."""
        self.contradictions.append(LoggerFinding(code, "fault", row, shortened(column), shortened(value)))

    def contradict(self, name: ChoiceName, stated: Answer, found: Choice[Answer]) -> None:
        """Note that the file says another thing than the grower."""
        said = {"stated": str(stated), "found": str(found.value), "evidence": found.evidence}
        self.contradictions.append(LoggerFinding(f"{name}_contradicted", "fault", found.row, parameters=said))

    def settle(self, name: ChoiceName, stated: Answer | None, found: Choice[Answer]) -> Choice[Answer]:
        """Give what the file says, or what the grower states if it is the same."""
        if stated is None:
            return found
        if stated == found.value:
            return Choice(stated, "stated")
        self.contradict(name, stated, found)
        return found
