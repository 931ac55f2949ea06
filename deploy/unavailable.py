"""Responses where no view answers or one failed: a problem under /api/, else a page."""

from __future__ import annotations

import sys

import structlog
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBadRequest,
    JsonResponse,
)
from django.template.loader import render_to_string
from django.views import defaults
from django.views.decorators.csrf import requires_csrf_token

from api.exceptions import CONTENT_TYPE, READ_ONLY, Problem, problem_of

log = structlog.get_logger(__name__)


@requires_csrf_token
def malformed(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400, as for a request to a name that the service does not have."""
    if _is_of_the_api(request):
        return _as_problem(request, problem_of(exception))
    # Without the request: what can't be read of it may be the very name that pages link to.
    return HttpResponseBadRequest(render_to_string("400.html"))


@requires_csrf_token
def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """404, for an address that nothing is at."""
    if _is_of_the_api(request):
        return _as_problem(request, problem_of(Http404()))
    return defaults.page_not_found(request, exception)


@requires_csrf_token
def server_error(request: HttpRequest) -> HttpResponse:
    """503 where the database did not answer, which passes; else 500."""
    error = sys.exc_info()[1]
    problem = problem_of(error if isinstance(error, Exception) else RuntimeError())
    log.error("not answered", status=problem.status, error=type(error).__name__)
    if _is_of_the_api(request):
        answer = _as_problem(request, problem)
    else:
        context = {"read_only": problem.detail == READ_ONLY}
        page = render_to_string(f"{problem.status}.html", context)
        answer = HttpResponse(page, status=problem.status)
    if problem.retry_after_s:
        answer["Retry-After"] = str(problem.retry_after_s)
    return answer


def _is_of_the_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")


def _as_problem(request: HttpRequest, problem: Problem) -> HttpResponse:
    return JsonResponse(
        problem.document(request.path), status=problem.status, content_type=CONTENT_TYPE
    )
