"""Errors become ``application/problem+json`` (RFC 9457, "Problem Details for HTTP APIs", 2023)."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from rest_framework import exceptions

from exchange.api.catalogue import kind_of
from exchange.api.media import json_bytes
from growers.errors import Conflict, DomainError, FieldProblem, InvalidInput, NotFound

MEDIA_TYPE = "application/problem+json"
DATABASE_AWAY = (OperationalError, InterfaceError)
RETRY_AFTER_SECONDS = 5
CELL = re.compile(r"row (\d+)(?: column (.+))?")


@dataclass(frozen=True)
class Fault:
    """One thing wrong: where it stands in the body, or the name of the parameter or header."""

    code: str
    detail: str
    pointer: str | None = None
    parameter: str | None = None
    row: int | None = None
    column: str | None = None
    allowed: str | None = None

    def body(self) -> dict[str, Any]:
        """What is known, without what is not."""
        return {name: value for name, value in vars(self).items() if value is not None}


class ApiProblem(Exception):
    """A problem of the transport, by its code in the catalogue."""

    def __init__(
        self,
        code: str,
        detail: str = "",
        *,
        faults: Iterable[Fault] = (),
        headers: Mapping[str, str] | None = None,
        status: int | None = None,
    ) -> None:
        super().__init__(code)
        self.kind = kind_of(code, status)
        self.detail = detail or str(self.kind.meaning)
        self.faults = tuple(faults)
        self.headers = dict(headers or {})


def problem_response(error: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """DRF's exception handler; an error that is ours and nobody else's goes on to Django."""
    problem = as_problem(error)
    return None if problem is None else respond(context["request"], problem)


def respond(request: Any, problem: ApiProblem) -> HttpResponse:
    """The answer to a request that failed."""
    kind = problem.kind
    content = {
        "type": f"{reverse('problems')}#{kind.code}",
        "title": str(kind.title),
        "status": kind.status,
        "detail": problem.detail,
        "instance": request.path,
        "code": kind.code,
        "request_id": request_id(request),
        "errors": [fault.body() for fault in problem.faults],
    }
    return HttpResponse(
        json_bytes(content),
        status=kind.status,
        content_type=MEDIA_TYPE,
        headers={"Cache-Control": "no-store", **problem.headers},
    )


def request_id(request: HttpRequest) -> str:
    """The id under which the log knows this request."""
    return str(getattr(request, "request_id", ""))


def as_problem(error: BaseException | None) -> ApiProblem | None:
    """The problem that an error is for its caller, or None if it is a mistake of ours."""
    if isinstance(error, ApiProblem):
        return error
    if isinstance(error, DomainError):
        return _of_domain(error)
    if isinstance(error, DATABASE_AWAY):
        return ApiProblem("unavailable", headers={"Retry-After": str(RETRY_AFTER_SECONDS)})
    if isinstance(error, RequestDataTooBig):
        return ApiProblem("too_large")
    if isinstance(error, exceptions.APIException):
        return _of_framework(error)
    if isinstance(error, Http404):
        return ApiProblem("not_found")
    return ApiProblem("csrf_failed") if isinstance(error, PermissionDenied) else None


def _of_domain(error: DomainError) -> ApiProblem:
    statuses: dict[type[DomainError], int] = {InvalidInput: 422, NotFound: 404, Conflict: 409}
    status = next((status for kind, status in statuses.items() if isinstance(error, kind)), 422)
    return ApiProblem(error.code, error.detail, faults=map(_field_fault, error.problems), status=status)


def _field_fault(problem: FieldProblem) -> Fault:
    allowed = problem.allowed or None
    if cell := CELL.fullmatch(problem.pointer):
        return Fault(problem.code, problem.detail, row=int(cell[1]), column=cell[2], allowed=allowed)
    # Of a whole table or a line of its text there is no pointer into the body; the sentence says where.
    pointer = problem.pointer if problem.pointer.startswith("/") else None
    return Fault(problem.code, problem.detail, pointer=pointer, allowed=allowed)


def _of_framework(error: exceptions.APIException) -> ApiProblem | None:
    if isinstance(error, exceptions.ValidationError):
        return ApiProblem("does_not_fit", faults=faults_of(error.detail))
    if isinstance(error, exceptions.Throttled):
        wait = str(max(1, round(getattr(error, "wait", None) or 1)))
        return ApiProblem("too_many_requests", headers={"Retry-After": wait})
    headers = {"WWW-Authenticate": header} if (header := getattr(error, "auth_header", "")) else {}
    codes: dict[type[exceptions.APIException], str] = {
        exceptions.ParseError: "malformed",
        exceptions.NotAuthenticated: "sign_in_needed",
        exceptions.AuthenticationFailed: "token_invalid",
        exceptions.PermissionDenied: "csrf_failed",
        exceptions.NotFound: "not_found",
        exceptions.MethodNotAllowed: "method_not_allowed",
        exceptions.UnsupportedMediaType: "media_type",
    }
    code = next((code for kind, code in codes.items() if isinstance(error, kind)), None)
    return None if code is None else ApiProblem(code, headers=headers)


def faults_of(detail: Any, pointer: str = "") -> list[Fault]:
    """DRF's nested errors as a flat list with JSON pointers (RFC 6901)."""
    if isinstance(detail, dict):
        return [fault for key, part in detail.items() for fault in faults_of(part, _below(pointer, str(key)))]
    if isinstance(detail, list) and any(isinstance(part, dict | list) for part in detail):
        return [fault for index, part in enumerate(detail) for fault in faults_of(part, f"{pointer}/{index}")]
    return [
        Fault(getattr(part, "code", "invalid"), str(part), pointer=pointer)
        for part in (detail if isinstance(detail, list) else [detail])
    ]


def _below(pointer: str, key: str) -> str:
    if key == "non_field_errors":
        return pointer
    return f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}"
