"""The tree of errors that a grower or a client can cause, each with a stable code."""

from dataclasses import dataclass


@dataclass(frozen=True)
class FieldProblem:
    """One thing wrong with the input: where (``pointer``), a stable code and a sentence.

    ``pointer`` is ``/field`` or ``row 3 column field``. ``value`` and ``allowed`` are the parts of the
    sentence for a client that words it itself; they may be empty.
    """

    pointer: str
    code: str
    detail: str
    value: str = ""
    allowed: str = ""


class DomainError(Exception):
    """Base of all errors that are the caller's to mend; ``code`` is stable, ``detail`` a sentence."""

    code = "refused"

    def __init__(self, detail: str, *, problems: tuple[FieldProblem, ...] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.problems = problems


class InvalidInput(DomainError):
    """The input fits its shape but breaks a rule; ``problems`` says where, the value and what is allowed."""

    code = "invalid_input"


class NotFound(DomainError):
    """There is no such thing, or the asker may not know of it."""

    code = "not_found"


class Conflict(DomainError):
    """The present state forbids it."""

    code = "conflict"
