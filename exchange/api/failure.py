"""What is answered where no view is reached, or a view fails: problems for the API, a sentence for pages."""

import sys

from django.http import HttpRequest, HttpResponse

from exchange.api.errors import ApiProblem, as_problem, respond


def _answer(request: HttpRequest, problem: ApiProblem) -> HttpResponse:
    if request.path.startswith("/api/"):
        return respond(request, problem)
    text = f"{problem.kind.title}. {problem.detail}\n"
    return HttpResponse(
        text, status=problem.kind.status, content_type="text/plain; charset=utf-8", headers=problem.headers
    )


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django refused the request before a view saw it."""
    return _answer(request, as_problem(exception) or ApiProblem("malformed"))


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A page refused."""
    return _answer(request, ApiProblem("csrf_failed"))


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """No address of ours."""
    return _answer(request, ApiProblem("not_found"))


def server_error(request: HttpRequest) -> HttpResponse:
    """A database that is away is not a mistake of ours: it is told when to ask again."""
    return _answer(request, as_problem(sys.exc_info()[1]) or ApiProblem("internal"))


def too_many_requests(request: HttpRequest, seconds: int) -> HttpResponse:
    """A page that was asked for too often."""
    return _answer(request, ApiProblem("too_many_requests", headers={"Retry-After": str(seconds)}))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without its token."""
    return _answer(request, ApiProblem("csrf_failed"))
